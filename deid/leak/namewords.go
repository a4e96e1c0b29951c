package leak

// nameWords are everyday words, most of them English, that are also given or
// family names. A roster name among them counts only where it is written as a
// name. Nouns of other languages that notes of this trade do not hold, such as
// Koch and Moulin, are left out: many are common names. From the author's own
// knowledge; a public word list (SCOWL) and the names of the 1990 US census were
// used to see what was forgotten.
const nameWords = `
abate abbey abbot able ace acre acres adder ages ai aide al alba albino alder alley almond alpha alt amber amor an
angel anger angle ant any apple april arch archer are arena argon arm armour arrow art ash aspen aster atlas august
aurora autumn axe ba bach back bacon bad bade badger bail baker bald bales balk ball balls bane banes bang bangs
banister bank banks banner banning bar barber bard bare barefoot barge bark barker barley barn baron barrel barrow
barrows barter base basil basket bass bat bate bates bath batten battle battles bay bays be beach beacon beam bean
beans bear beard beat beaver beck bee beech beef beer begin bell belle bello bellows bells belt bench bend bender bent
berg berry beryl best better beverage bi bias big bill bills binder birch bird bishop bit bitter black blacker blacks
blade blake blanc blanco bland blank blanket blanks blaze blazer blessing blind bliss blizzard block blond blood bloom
bloomer blossom blow blue blum blunt bo board boat bob bodily body boer bois bold bolster bolt bolts bon bond bonds
bone boner bones bonnet book booker books boom boon boot booth boots booze border borders boring borne bos boss bottle
bottom bottoms bound bounds bow bower bowers bowl bowler bowling bowls bowman box boy boys brace bracken brain brake
bramble branch brand brandy brass braun brave bravo bray bread break breed breeding breeze brew brewer brick bridge
bridges bright brink brisk broad brook brooks broom brother brothers brown browning browns brun brush bu buck buckle
bud buddy buff buffet bug bull bullet bullock bump bumpers bunch bunker bunting burden burger burn burner burns burr
burrows bury bus bush buss but butcher butler butter butters button buttons butts buzz bye ca cabeza cable cadet cage
cain cake calcium call calle calm camp camper campo can cancel candle candy cane cannon canon canter cape caper car
carbon card cardinal cards care carol carpenter carrier carry cart carter carver casa case cash caster castle cat
catcher cater cave caves celeste centre chain chalk chamber chamberlain chambers champagne champion chan chance
chancellor chandler channel chapel chapman charge charity chase chaste chat check cheek cheeks cheer cheese cherish
cherry chess chest chestnut chew chi chick chief child childs chill chin china chips choice christmas church chute
cinder citizen city clair claire clapper clarion class clay clear clerk clever click cliff clip close cloud clover
clutter coal coat coats cob cobalt cobble cock coffee coffin coil coin coke cold cole collar colt comb combs come
comer comfort commander commons con conception condon cone confer constable constant converse cook cooks cool cooper
cope copper coral cord cordon core cork corn corner corns corona cost cotton couch council count counter country court
courts cousin cousins cover covert cow coward cox crab cracker craft crafts crane crank craven cream creamer creed
creek cress crest crew crews crisp crook crop cross crouch crow crowd crown crozier cruise crumb crystal cue cuff cull
cumin cup cupid current curry curt curtain cut cutter cutting cypress da dahlia daily daisy dale dam dame damp dance
dancer dane danger dark darling dart dash date dates daughter dawn day days de deacon deal dealer dean dear dearth
death deck deed deeds deem deep deer degree delay delta den dent deputy derby desire dessert destiny dew di dials
diamond dice dick dickens did die dill dirk dish ditch do dock dodge doe dole doll dollar dolphin don door dot doux
dove dover down downing downs drain drake draper draw dray dream dress dresser drew drill drink driver drown drum
drummer dry dryer du duck dude due duke dull dun dusk dust dusty duty dwell dye dyer eagle ear earl earls early
earnest earth east easter easton eaves ebony echo ed eden edge el elder else em ember emerald end engine english
ensign era essen ester even evening evens ever ewe ewes eye fa fable face facer factor fair faith fakes falcon fall
falls fame fan fancy fanning farm farmer farrier farrow fast fault favorite favors fawn fay fe fear fears feather
feathers fee fell feller fellow fellows felts fence fender fern ferry fetter few field fielding fields fig files fill
filler finch find fine finger finish fir fire fish fisher fist fitch fits fitting fix flagg flake flame flash flat
fleck fleet fletcher flick flint flood floor flora flores florin flower flowers flute fly fog folk folks font food
foot for forbes force ford fore foreman forest forester forge fork fort forte forth fortune forty forward foster
fought foul foundation fountain fowl fowler fox frame frank fray free freed freedom freeman freeze french fresh friday
fried friend frost fry fu fudge full fuller fun furlong furnace furrow furry ga gable gage gain gains gale gales gall
gallant gallop gamble game games gander gap garde garden gardener gardner garland garlic garment garner garnet gas
gate gates gay ge gear gee gem gene general genesis gentile gentle gentry german get gi gibbons gift gill ginger gist
givens glad gladden glade glass glaze glazer glazier glide globe glory glove glover go goat goings gold golden gong
good goods goose gore gouge graaf grace grain grams grand grandson grange granger grant grants grass grate grave
gravel graves gray grays graze great greek green greene greening greens grey griffin grill grim grimmer grind grinder
groen groom grooms groot gros gross ground grounds grove groves grow grub gu guard guess guest guild gulf gull gum gun
gust guy ha had haddock hail hair hale hall halle hallmark hallow halls halter ham hamlet hammer hammers hammock hand
handler hands handy hang hanger hank happy harbor harbour hard harden harder hardy hare harm harmony harms harness
harp harper harrow harsh hart harvest has hash haste hasty hat hatch hatcher hatter haven havens hawk hawker hawks
hawthorn hay hayes hays hazard haze hazel he head heady heal heap heaps heard hearn heart heater heath heather heaven
heavy hedge hedges height heir heist held helium hell helm helms help hemp hen henna her herb herbs herbst herd herder
hero heron herring herz hi hide hierro high hight hill hills him hind hinge hip his history hitch hive ho hoard hobby
hogg hogs hold holder holding hole holiday holland hollow holly holm holt home homer homes honest honey honor honour
hood hook hooker hooks hooper hoops hope hopes hopper horn horner horse hose host hound hour house houses hove hover
how howl hu hub hue huff hug hull human humble hummer hung hunger hunt hunter hurdle hurry hurst hurt husband hush
husk hut hyde ice ides in inch inn innocent instead iris irish iron irons is island it its ivory ivy jack jacket jacks
jade jam jar jardin jasmine jasper jaws jay jean jelly jet jeune jewel jewell jo job jobs joiner joint jolly jong
jordan jour journey joy joyce judge juice july jump jumper june jung junior juniper jupiter jury just justice ka kale
ke keel keeling keen keep keeper kelp kennel kerb kern kettle key keys ki kick kid kidd kiddy kidney kiln kind kinder
kindle king kings kirk kiss kit kitchen kitchens kite klein knee knife knight knights knock knoll knot knots know
knuckles kraft ku kurz la lace lack lackey lad lady lair lake lakes lamb lamp lance lancer land landing lane lang
lange lap large lark lash last late lather laughter laurel lavender law lawless lawn laws lawyer lax lay layer layman
le leach lead leader leaf league leak leaks leal lean lear learned lease leather leaver leaves led ledger lee leek
leer lees left legend leger leisure lemon lemons len lent leon leopard lesser let letter level lever levy li liberty
life light lightning likens lilac lily limb lime line lines link lint lion lions lip list lister little live lively
livingstone lo load loaf loan lock locke locker locks lodge loft log long longer look loom looms looney loop loose
lord lorry lot lotus loud love loveless lovely lover loving low lower lu luck lucky lull luna lung lush luster luz
lyric ma mace mack magnolia maiden mail main mains major majors maker mall mallet malt man mann manner manners manning
manor mantle manual maple maples mar marble march marcher mare marin marina marine mariner mark marker market marks
marl marlin marquis marrow marry mars marsh marshal marshall marten martin martini marvel mash mask mason mass mast
master masters mat match matt matter max may maybe mayor maze me mead meadow meadows meal meals mean means medley meek
melody melon men mercer merchant mercury mercy merit merry mess messenger messing met meta metal mew mi mica mice
middle mild mile miles milk mill miller millet million mills milner mince mind mine miner mines minor mint miracle
mire mist mister misty mitten mix mo moat mobile mock mode mole moles moment mond monday money monk monks month moody
moon moor mooring moose mora more morgen morning morrow mortar moss mote moth mother motto mount mountain mounts mouse
mouth mower mud mule munch muse mushroom music musk mustard mute my myrtle mystery na nagel nail nap narrow nation
nations nature near neat neck need needle needles neon nest net nettles neu new newcomer newman news ng nice nick
nickel nickels nickles nigh night nightingale no noble nobles noir noon nor north northern nose not notice nova novel
novella novice now null number nun nurse nut nutmeg ny oaf oak oakes oaks oath oats ocean odd off offer officer oh old
olive omega on one opal open or orange orchard orchid order ore organ osier osprey otter our ours out outlaw oval oven
over overall owl own owner ox oyster oz pa pace pack packer packet pad pagan page pages pail pain paine paint painter
pair pal palace pale palm palmer pals pan pane pansy pant panther papa paper paradise parent paris parish park parker
parks parrot parry parsley parson parsons part parting partner partridge party pass past paste pasty pat patch pate
path patience patient patron paw pawn pay paz peace peach peacock peak pear pearl pearls peas pease peck pedlar peek
peel peer peg pelt pen pence penn penning penny people peoples pepper peppers perch perfect perk perry person persons
pet petal petit petite petty pew pheasant phoenix phone piazza pick pickle pickles pie piece pier pierce pigeon pike
pile pill pillar pillow pilot pin pinch pine pines ping pink pino pinto pip piper pipes pit pitch pitcher pitt place
plain plane plank plant plaster plate platinum play player plaza pleasant plum plumb plumber po pocket poe poet point
pointer points polar pole polish polite poll pollen polly polo pond ponder ponds pont pony pool poole poor pope poplar
poppy port porter ports post pot potter pound pounds powder power powers praise pray precious present preserver press
presto pretty price prices pride priest prim prime primrose prince princess prins prior private prize proctor profit
promise proper proud province prudence pry puffer pulley pump punch purdy pure purple purse put quail quarry quarter
queen quest quick quiet quill quince quirk rabbit race radish raft rag rail rails rain rainbow raine rains rainwater
rake ram rambler ran ranch random ranger rank ransom rash rat rate rather ravel raven raw ray rays re reach read
reader reading ready real reason rector red redd reddish redhead reed reeds reedy reef reel reeve reeves regal
register reich reign rein relish remedy render rent rest rex rey rhyme rhymes rice rich richer riches rick rico riddle
ride rider ridge riding right ring ringer rings rink rip ripple rise riser river rivers roach road roads roan roast
rob robe robin robins robs robust rock rocker rocket rode roe rogue rojo roles roll roller rolling rolls roman romance
rome roof roofer rook room root roots rope roper rosa rosary rose rosemary roses rosin rote roth rough round rounds
rouse rover row rowan roy royal rubio ruble ruby rude ruder rue ruff ruffing rugby rule ruler rum rumble run runner
running rush rushing rusk russet rust rusty ruth rye sable sack sacks sad saddle saddler sadler safe saffron sage
sager sail sailor saint sale sales salmon salt salter same sample samples sand sandal sander sands sandwich sandy sane
saner sang santo sapphire sass satin saturday saturn sauer savage savannah saver saw sawyer say scales scarlet schmal
scholar school schwarz scot scout scribe scrivener sea seal seals seaman search sears season seat seats see seed seeds
seeker self sell seller sellers sells senior sense sequoia serene sergeant sermons serve service session sessions set
settle settles seven sever severs sewer shade shadow shaft shake shallow shank shanks shape sharp sharpe shaver
shavers shaw she shear shearer shears shed sheen sheep sheet sheets shell shells shelter shepherd sheriff sherry
shield shields shilling shillings shin shine ship shirt shiver shivers shock shoe shoemaker shoes shook shoot shore
shores short shorter shorts shot shoulders shove shower showers shows shrub shuck shy si sick sickles sides siege
sierra sight sign signs silence silk sill sills silver silvers sim simmers simple sin sine sing singer singers single
singleton sink sister sit six skill skinner skins skip skipper sky slack slate slaughter slay sledge sleeper sleet
slice slick slim sling sly small smalls smart smile smock smoke smoker smooth snail snare snell snider snipe snipes
snow so soap sober sol solar soldier sole soles sommer song sonntag sonny sons soon sorrel sorrow sort soul sours
south southern spade spain span spark sparkle sparks sparrow speaker speaks spear spears speck speed spell speller
spence spice spicer spike spikes spinner spire spires spirit split spool spoon sport spot spray spring springer
springs sprinkle sprout spruce spur spurs squire stable stack stacks staff stag stage stair stairs stall stalling
stamp stamps standard staple stapler staples star stark starling stars start state states stead steady steal steam
steed steel steele steep stein stem step sterling stern sterner stew steward stick sticks stiff still stinger stock
stocker stocking stocks stone stones stool stops store storey stork storm storms story stout stove straight strain
strand strange stranger straw stream streams street streeter streets stretch strict striker string stringer strong stu
stubble stuck stump sturgeon style styles sue sues sugar suit suits sullen sum summer summers sun sunday sunny
sunshine super surety surface swain swallow swan swann swap swart sweat sweeper sweet sweeting swift swim swims swing
sword ta table tack tag tail tailor talbot talent tall tally tan tang tank tanner tar tare tart task taste tausend tax
te tea teacher teague teal tear tee teeter tell teller temper tempest temple temples ten tender tennis tent tern
terrace test tester than thatch thatcher the thick thimble thing think thistle thorn thorne thorns thrash thread
thresher thrift thrower thrush thunder thursday ti tick ticket tickle tidy tie tiger till tiller timber time times tin
tingle tinker tinkle tinsel tiny tipper title to toad today toll tomb tomorrow toms ton tone tong tongue too tool
toole top topping torch torn toss touch tough tours tow tower towers town towns townsend toy trace track trade trader
trail train trainer travel traveller travers treasure treat tree trees trench trend tribe trice trick trim trimmer
trinity trip triumph troop troupe trout truck trudge true truelove truly trump trunk truss trust trusty truth tu tube
tuck tucker tudor tuesday tulip tune tunnel turf turk turn turner turnip turtle tweed twin twine twist two un union
unity up upright urban us use usher utter vail vain vale valentine valle valley valor values van vane vanish vase
vault veal veil velvet venture venus vera verde verity vert vesper vessels vest via vicar vice victor victory vida
viento vieux view vigor villa village vine vines vineyard vintage viola violet virtue vision vital voice void vos wade
wafer wag wage wager wagon wain wait waiter waits wake wales walk walker wall waller wallet walling walls wally walnut
waltz wander want war ward warden wards ware warm warmer warner warp warren warrior was wash washer waste watch
watchman water waters watt wave waver wax way ways we wealth wear weary weather weathers weaver wedge wednesday wee
weed weeds week weekly weeks weigh weight weir weiss welch welcome weld welder well weller wellington wells welsh west
western wet whale wheat wheel wheeler wheels whiff whip whisper whistler white whitehead whites whiting whittle who
why wick wicker wicks widow wiggle wild wilde wilder wiles will willow wills wilt win winch wind winder window winds
windy wine wines winfield wing wings wink winner winter winters wire wisdom wise wiser wish wit withers wolf won
wonder wood wooden woodland woodman woodruff woods woody wool word words work worker workman works world worm worms
worth worthy wreath wren wright write wu xenon xi yard yards yarrow yawn ye year yell yellow yen yes yet yew yi yield
yo you young younger youngs youth yu zeal zenith zimmer zinc zinnia zucker zwart jan mai juni
`

// openers are the nameWords with which a note may begin although nobody of that
// name is meant: "Long exhalation", "Coffee at seven", "White cap". Any other at
// the beginning of a sentence is a name until a person has looked: "Baker was
// late". From the author's own knowledge of such notes.
const openers = `
able ai almond alpha alt an angle any apple are arm back bacon bad bales bar bare base basil be bean beans beat beef
beer begin belle belt bend bent best better beverage bias big bit bitter black blacks blanc blanco bland blank blanket
blind block blood blow blue body bois bon bone bones book boot boots boring bottle bottom bound box brace brake braun
bread break bright brisk broad brother brown brush bump burger burn burns bus but butter button buttons buzz bye ca
cable cake calcium call calm can cancel candle candy car card cards care carry cart case cash centre chain chalk
champagne charge chat check cheek cheeks cheer cheese chest chew child chill chin chips choice christmas church clear
clever click clip close cloud coat coffee coin coke cold collar come comfort con cone constant cool cord core cork
corner cost cotton couch count counter country court cousin cover crank cream crop cross crowd crumb cue cuff cumin
cup current curry curtain cut cutting daily damp danger dark dash date dates daughter day days deep degree delay
dessert did die dish do dock door dot down drain draw dream dress drink driver drown dry due dull dust dusty duty dye
ear early east easter echo edge el else end engine english even evening ever eye fa face factor fair fall falls fan
fast fault fear fears fell few files fill find fine finger finish fire fish fits fitting fix flash flat flick floor
fly fog food foot for force fork forward foul frame free freed freeze french fresh friday frost full fun gall gap
garlic gas gate gates ge general gentle german get ginger glad glass glove go goat gold good goods grain grams grand
grandson grass gray great greek green grey grill grind gros gross ground grounds grow guard guess guest gull gum gun
gust had hair hall hand handler hands handy hang happy harbor harbour hard harder harm harsh has hash haste hat hazard
he head heal heap heard heart heater heavy height held helium help her herb herbs herbst herring herz hi hide high him
hip his history hold holder holding hole holiday hollow home homes honey hose hour house how hug hunger hurry hurt
husband ice in inch instead iron is island it its jam jan jaws jelly jeune job jobs joint juice jump jung juni junior
just kale keen keep kelp kettle kick kid kidney kind kiss kit kitchen klein knee knife knock knot know knuckles kraft
kurz la lace lack lamb lamp lang lap large last late lather laughter layer lead leaf leak leaks lean learned lease
leather leaves led left lemon lemons lesser let letter level life light lightning limb line lines link lint lip list
little live lively load loaf lock locks log long longer look loose lorry lot loud low lower lung mai mail mains major
malt man manual mar mask mass match matter may maybe me meal meals mean means men mess messing met metal mice middle
mild milk mind minor mint mist mister mix mobile mode moment monday money month moon more morgen morning mortar moth
mother mouse mouth mud mushroom music mustard mute my mystery na nail nap narrow nature near neat neck need needle
needles net neu new news nice night no noir noon nor north nose not notice now null number nurse nut nutmeg oats odd
off offer officer oh old olive on one open or orange order organ our ours out oval oven over overall own pace pack
packet pad page pages pain paint pair pale pan pane pant paper parent park parsley part parting partner party pass
past paste pasty pat patch path patience patient paw pay peach peak pear peas pen pepper perfect person persons pet
petit petite phone pick pickle pickles pie piece pile pill pillow pin pinch ping pink pitch place plain plane plant
plaster plate play pleasant plum pocket point points polar polite poll pollen poor post pot pound powder power
precious present press pretty price prices prime prior private promise proper proud puffer pulley pump punch pure
purple purse put quarter quick quiet quill radish rag rain ran random rash rat rate rather raw re reach read reading
ready real reason red reddish remedy rest rice right ring rings rip ripple rise road roads roast robust roll rolling
rolls roof room root rope rough round rounds rude rum rumble run runner running rush rushing rust rye sad safe saffron
sage sales salmon salt same sample samples sandwich sang sauer saw say scales school schwarz sea seal seals search
season seat seats see seed self sell senior sense service session sessions set settle settles seven sever shade shadow
shake shallow shape sharp she shed sheet sheets shell shield shin shirt shiver shivers shock shoe shoes shook shoot
short shorts shot shoulders shove shower showers shows si sick sides sight sign signs silence silk silver simple sin
sine sing single singleton sink sister sit six skill skins skip sky slack slate slice slick slim sling small smart
smile smoke smoker smooth snow so soap sober solar sole soles sommer song sonntag soon sort south southern span speaks
speed spell spike spikes spirit split spoon sport spot spray spring stable stack staff stage stair stairs stall
stalling stamp standard staple star stars start state states steady steal steam steel steep step stew stick sticks
stiff still stone stones stool stops store storm story straight strain strange straw stream street stretch strict
string strong stubble stuck stump style sues sugar suit sullen sum summer sun sunday sunny super surface swallow swap
sweat sweet swift swim swing table tag tail tall tan tank tar tare tart task taste tausend tax tea teacher tear teeter
tell temper ten tender tennis tent test than the thick thing think thread thrush thunder thursday tick ticket tickle
tidy tie till timber time times tin tiny title to today tomorrow ton tone tongue too tool top topping torch torn toss
touch tough tow tower town toy trace track trade trail train trainer travel treat tree trees trench trend trick trim
trip trout truck true trunk trust truth tube tuck tuesday tunnel turn twin twine twist two up upright urban us use
utter valley values van vase vest via vieux view vision vital voice void wait waits wake walk wall wallet walls want
war ward wards warm warmer was wash washer waste watch water waters watt wave wax way ways we wear weary weather wedge
wednesday wee week weekly weeks weigh weight weiss welcome well west wet wheat wheel wheels whiff whip whisper
whistler white whites who why wiggle wild will win wind window winds windy wine wing wings winter wire wise wish wit
won wood wooden wool word words work worker works world worm worms write xenon yawn year yell yellow yes yet yield you
young youth zimmer zinc zucker
`
