package leak

import "strings"

// nicknames maps a given name to short forms that do not begin as it does, or
// that are words; folded. From the author's own knowledge.
var nicknames = func() map[string][]string {
	m := make(map[string][]string)
	for _, line := range strings.Split(`alexander alex sandy sascha sasha lex xander|alexandra alex sandra sasha lexi|alfred fred alf freddie|albert bert al bertie|andrew andy drew|andreas andi
antonio toni tonio tono|anthony tony|anton toni|archibald archie|arthur art artie|barbara barb babs barbie babsi|benjamin ben benny benji|bernard bernie|bernhard bernd|bridget biddy bridie
brigitte gitte gitta biggi|caroline carrie caro lina|carolina caro lina|catherine cathy kate katie cat kitty|katherine kathy kate katie kit kitty|katharina kathi kathe katja ina|charles charlie chuck chas
charlotte lottie lotte charlie|christian chris|christina chris tina chrissy|christine chris tina chrissie|christopher chris kit topher|clarence clare|cornelia nele conny|cornelius cor cees kees|daniel dan danny
david dave davy|deborah debbie deb|dolores lola|donald don donnie|dorothy dot dottie dolly|edmund ed ted ned|edward ed eddie ted ned|eduardo edu|eleanor ellie nell nora|elena lena|elisabeth lisa lisbeth elli sissi liesl
elizabeth liz lizzie beth betty eliza libby lisa bess|emanuel manu manni|emilio milo|emily em millie|enrique quique kike|erika ria|ernest ernie|ernst erni|eugene gene|fernando nando|florence flo flossie|frances fran frankie fanny
francis frank frankie|francisco paco pancho curro kiko|francesco checco franco ciccio|francoise fanfan|franz franzl|frederick fred freddie|friedrich fritz fred friedel|gabriele gabi|geoffrey geoff jeff|george georgie
georg schorsch jorg|gerald gerry|gerard gerry ger|gertrud trude gerti traudl|gertrude trudy gertie|giovanni gianni nino|giuseppe beppe peppe pino|giuseppina pina|gregory greg|guadalupe lupe|guillermo memo willy|gunter gunni
hannah hanna|hannelore hanne lore|harold harry hal|hans hansi|heinrich heinz heini|helen nell lena nellie|helena lena|helene lene|henry harry hank hal|herbert herb bert bertie|hermann manni|hubert hubi bert|ignacio nacho|ines nesi
irene reni|isabel isa bel|isabella bella izzy isa|isidore izzy|jacob jake jack|jacobus koos ko jaap|jacqueline jackie|jakob jockel|james jim jimmy jamie jem|jane janie jenny|janet jan|jean jeannie|jennifer jen jenny|jessica jess jessie
jesus chucho|joan joanie|johanna hanna jo hanni|johannes hans hannes jo jan|john jack johnny jock|jonathan jon jonny|jorge coque|jose pepe|josef sepp beppi|joseph joe jo joey|josefa pepa|josephine jo josie|juan juanito|judith judy judi
julia juli jule|kenneth ken kenny|klaus klausi|laura lori|lawrence larry laurie|leonard len lenny leo|leonardo leo nardo|lorenzo enzo renzo|ludwig lutz wiggerl|luigi gigi gino|luis lucho|magdalena lena magda|manuel manolo manu
manuela manu ela|margaret maggie meg peggy madge marge greta rita|margarete grete gretel greta|margherita rita|maria mia mitzi marie|mariano nano|marie mitzi mimi|marion mary|martha marty|martin marty|mary molly polly mamie may
matilda tilly mattie|mathilde tilde tilly|matthew matt|matthias matze hias|maximilian max maxi|michael mike mick micky mickey mischa michi|michele mick|miguel migue|mildred millie|monika moni|nancy nan|nathaniel nat nate
nicholas nick nicky|nikolaus klaus niko|oliver ollie|pamela pam|patricia pat patty trish tricia paddy|patrick paddy pat rick|peter pete|petronella nelly|philip phil pip|philippa pip pippa|priscilla cilla|rachel rae|raymond ray
rebecca becky becca|regina gina|reginald reg reggie|renate reni|richard dick rick ricky richie|roberta bobbie|robert bob bobby rob robbie bert|roberto beto|roland rolli|ronald ron ronnie|rosario charo|rosemary rosie|rudolf rudi|rupert rupi
salvatore toto turi|samantha sam|samuel sam sammy|sarah sally sadie|sebastian basti bastian seb wastl|sebastiano bastiano|sigrid siggi|sophia sophie|sophie fifi|stephen steve|stefan steff|steven steve|stephanie steph steffi|susan sue susie
susanne susi sanne|teresa tess terry tere|theresa tess terry resi|theodor theo|theodore ted teddy theo|thomas tom tommy|timothy tim|ulrich uli|ulrike uli ulli|ursula uschi ulla|veronica ronnie vero|victoria vicky tori|vincent vince vinnie
virginia ginny|walter walt wally|wilhelm willi willy helmut|wilhelmina mina willa minnie|william bill billy will willy liam|winifred winnie freddie|wolfgang wolfi wolf|yvonne vonnie`, "\n") {
		for _, entry := range strings.Split(line, "|") {
			if w := strings.Fields(entry); len(w) > 1 {
				m[w[0]] = append(m[w[0]], w[1:]...)
			}
		}
	}
	return m
}()
