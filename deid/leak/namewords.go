package leak

// nameWords are ordinary English words (with some German, French and Spanish
// ones) that are also given or family names. A roster name among them counts
// only where it is written as a name. From the author's own knowledge; no word
// list was copied.
const nameWords = `
abbey abbot able ace acre adder ages ai al alba alder alley alt amber amor an angel anger ant any apple april arch
archer are argon arm armour arrow art ash aspen aster august aurora autumn axe ba bach back bacon bad bail baker bald
ball bank banks bar barber bard bark barker barley barn baron barrel barrow base basil basket bass bat bates bath
battle bauer baum bay bays be beach beacon beam bean beans bear beard beat beck bee beech beef beer bell bello bells
belt bench bend bent berg berry best better bi big bill bills binder birch bird bishop bit bitter black blacks blade
blake blanc blanco blank blanket blaze block blond blood bloom blossom blow blue blum bo board boat bob body boer bois
bold bolt bolts bon bond bonds bone bones book booker books boom boon boot booth border bos boss bottle bottom boucher
bound bow bowl bowler bowls bowman box boy boys brace brain brake branch brand brandy brass braun brave bravo bread
break breeze brewer brick bridge bridges bright brink brisk broad brook brooks broom brother brown browns brun brush bu
buck bud buff buffet bug bull bullet bunch burden burn burns burr bus busch bush buss but butcher butler butter button
buttons buzz ca cabeza cable cage cain cake calcium call calle calm camp campo can candle candy cane cannon canon cape
caper car carbon card cards care carol carpenter cart carter carver casa case cash castillo castle cat catcher cave
celeste centre chain chamber chambers chance chancellor chandler chapel chapman charge charity chase chaste chat check
cheek cheer cheese cherish cherry chess chest chestnut chevalier chick chief child childs chips choice christmas church
cinder city clair claire clarion clay clear clerk cliff clip close clover coal coat coats cob cobalt cobble cock coffee
coffin coin cold cole colt comb come comfort con condon cone constant cook cooks cool cooper cope copper coral cord
cork corn corner cotton couch count counter country court courts cousin cover cow coward cox crab cracker craft crane
cream creed creek crest crew crisp crook crop cross crouch crow crowd crown crystal cumin cup cupid curry curt curtain
cut cutter cypress da daisy dale dame damp dance dancer dane danger dark dart dash date dates daughter dawn day days de
deacon deal dealer dean dear death deck deed deep deer delay den dent derby desire destiny dew di diamond dice dick
dickens did die dill dish do dock doe dole dollar dolphin don door dot doux dove dover down downs drake draper draw
dray dream dresser drew drill drink driver drum drummer dry du duck dude duke dun dusk dust dusty dwell dyer eagle ear
earl early earnest earth east easter easton echo ed eden edge el elder else em ember emerald end engine english ester
evening ever ewe ewes eye fa fable face facer fair faith falcon fall falls fame fan fancy farm farmer farrier farrow
fast fault faust fawn fay fe fear feather fell fellow fellows fence fern ferry few field fields fig fill finch find
fine finger finish fir fire fish fisher fist fitch fits flagg flame flash flat fleet fletcher flint flood floor flora
flores florin flower flowers flute fly fog folk folks food foot for forbes force ford foreman forest forester forge
fork fort forth fortune forty fought foul foundation fountain fowl fowler fox frank free freed freedom freeman french
fresh friday friend frost fry fu fuchs full fuller fun furlong furnace furry ga gable gage gain gale gall game gander
gap garde garden gardener gardner garland garlic garment garner garnet gas gate gates gay ge gear gem gene general
gentle gentry german get gi gift gill ginger glad glass glazer glazier glide globe glory glove glover go goat gold
golden good goose gore graaf grace grain grand grandson granger grant grants grass grave gravel graves gray grays graze
great greek green greene greens grey griffin grill grim grind groen groom groot gros gross ground grounds grove groves
grow grub gu guard guest gulf gull gum gun gunner gust guy ha haan had hail hair hale hall hallow halls ham hamlet
hammer hand hands handy hank happy harbor harbour hard harden hardy hare harm harmony harp harper harrow hart harvest
has haste hat hatch hatcher hatter haven hawk hawker hawks hawthorn hay hayes hays hazard haze hazel he head heal heard
hearn heart heath heather heaven heavy hedge hedges heir held helium hell helm help hemp hen henna her herb herbs
herbst herd herder hero heron herring herz hi hide hierro high hight hill hills him hind hinge hip hirsch his history
hitch hive ho hoard hobby hogg hogs hold holder hole holiday holland hollow holly holm holt home homer honest honey
honor honour hood hook hooker hooks hooper hope hopper horn horner horse hose hound hour house houses how howl hu hub
huff hug hull humble hummer hunger hunt hunter hurdle hurry hurst hurt husband hush hut hyde ice ides in inch inn
innocent iris irish iron irons is island it its ivory ivy jack jacket jade jam jar jardin jasmine jasper jaws jay jean
jelly jet jeune jewel jewell jo job jobs joiner joint jolly jong jordan jour journey joy joyce judge juice july jump
june jung junior juniper jupiter just justice ka kaiser ke keel keen keep keeper kelp kennel kerb kern kettle key keys
ki kick kid kidd kiddy kiln kind king kings kirk kiss kit kitchen kite klein klug knife knight knights knock knoll knot
knots know koch kok konig kraft ku kurz la lace lad lady lake lamb lamp lance lancer land landing lane lang lange lap
large lark lash last late lather laughter laurel lavender law lawless lawn laws lawyer lay layer layman le lead leader
leaf league leak leal lean lear lease leather leaver leaves led lee leek leer left legend leger lemon len lent leon
leopard let letter level lever li liberty life light lightning lilac lily limb lime line link lion lions lip list
lister little live livingstone lo load loaf loan lock locke locker locks lodge loft log long longer look loom looms
loop lord lorry lot lotus loud love loveless lovely lover low lower lu luck lucky lull luna lung lush luster luz lyric
ma mace mack maiden mail main major maker mall mallet malt man mann manner manners manor maple mar marble march marcher
mare marin marine mariner mark marker market marks marl marlin mars marsh marshal marshall marten martin mash mask
mason mass mast master masters mat match matter may maybe mayor me mead meadow meadows meal mean means meek meister
melody melon men mercer merchant mercury mercy merit merry mess met metal metz mew mi mice middle mild mile miles milk
mill miller millet mills milner mince mind mine miner minor mint miracle mire mist mister mitten mix mo moat mode mole
moment mond monday money monk monks month moody moon moor moose mora more morgen morning morrow mortar moss mote moth
mother motto moulin mount mountain mouse mouth mud mule muller muse mushroom musk mustard mute my myrtle mystery na
nagel nail nap narrow nation nature near neat neck need needle needles neon nest net neu neumann new newcomer newman
news ng nice nick nickel nickels night nightingale no noble noel noir noon nor north nose not notice nova novel novice
now number nun nurse nut nutmeg ny oaf oak oakes oaks oath oats ocean odd off offer officer oh old olive on one opal
open or orange orchard orchid order organ osier osprey otter our out outlaw oval oven over owl own owner ox oyster oz
pa pace pack packer packet pad page pages pail pain paine paint painter pair pal palace pale palm palmer pan pansy pant
papa paper paradise parent paris parish park parker parks parrot parson parsons part parting partner partridge party
pass past paste pat patch path patience patient patron paw pawn pay paz peace peach peacock peak pear pearl pearls peas
peck pedlar peel peg pen pence penn penny people pepper perch perfect perk perry person pet petal petit petty pew
pheasant phoenix phone pick pickle pie piece pier pierce pigeon pike pile pill pillar pilot pin pinch pine pink pino
pip piper pipes pit pitch pitt place plain plane plank plant plate platinum play player plaza pleasant plum plumb
plumber po pocket poe poet point points polar pole polish pollen polly pond pont pony pool poole pope poplar poppy port
porter ports post pot potter poulain pound powder power powers praise pray precious present preserver press presto
price prices pride priest prieto primrose prince princess prins prior private prize proctor promise proper proud
prudence pry puente pulley pump punch purdy pure purple purse put quail quarry quarter queen quest quick quiet quill
quince rabbit race radish raft rag rail rails rain rainbow raine rains ram rambler ran ranch random ranger rank rash
rat rate ravel raven raw ray rays re reader ready real reason rector red redd redhead reed reeds reef reeve regal
register reich reign rein relish remedy rent rest rex rey rhyme rice rich riches richter rick rico ride rider ridge
riding right ring ringer rings rios rip ripple rise ritter river rivers roach road roads roan roast rob robe robin
robins robs robust rock rocker rocket rojo roll rolls roman romance rome roof roofer rook room root roots rope roper
rosa rosary rose rosemary roses rosin roth rough round rover row rowan roy royal rubio ruby rude rue rule ruler rum run
rush russet rust rusty ruth rye sable sack sad saddle saddler sadler safe saffron sage sail sailor saint salas sale
sales salmon salt salter same sample samples sand sandal sander sands sandy sang santo sapphire satin saturday saturn
sauer savage saver saw sawyer say scales scarlet schmal scholar school schreiber schuster schwarz scot scout scribe
scrivener sea seal seals seaman search sears season seat see seed seeds seeker self sell seller sellers senior sense
sequoia serene sergeant serrano serve service set settle seven sewer shade shadow shaft shallow shank shanks shape
sharp sharpe shaw she shear shears shed sheen sheep sheet shell shells shelter shepherd sheriff sherry shield shilling
shine ship shirt shoe shoemaker shoes shoot shore short shot shove shower shrub shy si sick sides siege sierra sight
sign signs silence silk silver simple singer singers single sink sister sit six skill skinner skins skip sky slack
slate sleet slice slim sling sly small smart smile smit smoke smoker smooth snail snare snell snider snipe snow so soap
sol soldier sole sommer song sonntag sonny soon sorrel sorrow sort soul south southern spade spain spark sparks sparrow
speaker spear speed spell spence spice spicer spike spinner spire spirit spool spoon sport spot spring springer springs
sprout spruce spur spurs squire stable stack stacks staff stag stage staple star stark starling stars start state
states stead steady steal steam steed steel steele steep stein stem step stern stew steward stick sticks stiff still
stock stocker stocks stone stones stool store storey storm storms story stout stove straight strain strand strange
stranger straw stream streams street streeter streets stretch strict striker string stringer strong stu stubble
sturgeon sturm style sue sues sugar suit sullen summer summers sun sunday sunny surety swain swallow swan swann swap
swart sweat sweeper sweet sweeting swift swing sword ta table tack tag tail tailor talbot talent tall tally tan tang
tanner tar tare tart task taste tausend tax te tea teacher teague teal tear tell temper tempest temple ten tender
tennis tent tern terrace test thatcher the thick thimble thing think thistle thorn thorne thorns thread thresher thrift
thrower thrush thunder thursday ti tick ticket tidy tie tiger till tiller timber time times tin tinker tinsel tipper
title to toad today toll tomb tomorrow tong tongue too tool toole top topping torch torn toss touch tough tow tower
towers town towns townsend trace track trade trail train trainer travel traveller travers treasure treat tree trees
trench trend tribe trick trim trinity trip triumph trout truck trudge true truelove truly trump trunk trust truth tu
tube tuck tucker tudor tuesday tulip tunnel turf turk turn turner turnip turtle twin twine twist two un union unity up
upright urban us use usher vail vain vale valentine valle valley valor van vane vase vault veal veil velvet venture
venus vera verde verity vert vesper vest vicar vice victor victory vida viento vieux view vigor villa village vine
vintage viola violet virtue vision vogel voice void vos wade wafer wag wage wager wagon wain waiter wake wales walk
walker wall waller wallet walls wally walnut waltz wander want war ward warden wards ware warm warmer warner warp
warren warrior was wash waste watch water waters watt wave waver wax way ways we wealth wear weather weaver wedge
wednesday weed weeds week weeks weigh weight weiss welch welcome weld welder well weller welsh west western wet whale
wheat wheel wheeler wheels whiff whip whisper whistler white whitehead whites who why wick wicker widow wiggle wild
wilde wilder will willow wills win winch wind winder window winds wine winfield wing wings wink winner winter winters
wire wisdom wise wish wit wolf wonder wood wooden woodman woodruff woods woody wool word words work worker workman
works world worm worth wreath wren wright write wu xenon xi yard yards yarrow ye year yell yellow yes yet yew yi yield
yo you young youngs youth yu zeal zenith zimmer zinc zinnia zucker zwart
reading bury deal rugby sandwich nice bath essen halle split tours cork worms mobile hull wells
`
