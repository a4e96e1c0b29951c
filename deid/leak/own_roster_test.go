package leak_test

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"time"
)

// A person is one invented line of the roster. Alt is the name as romanised where the roster writes
// another script, or else empty.
type person struct {
	id, given, family, altGiven, altFamily string
	email, phone, street, postal, city     string
	born                                   time.Time
	record, lang                           string
}

func (p person) full() string { return p.given + " " + p.family }

// A locale holds what an invented person of one region is made of. Names are common ones of the
// region, combined at random; phone is a
// pattern of digits (# any) after the country prefix, from a fiction or unassigned range where one is published.
type locale struct {
	lang, prefix, phone, street, postal, city string
	given, family                             string
	months                                    string
}

const (
	monthsEN = "January February March April May June July August September October November December"
	monthsDE = "Januar Februar März April Mai Juni Juli August September Oktober November Dezember"
	monthsFR = "janvier février mars avril mai juin juillet août septembre octobre novembre décembre"
	monthsNL = "januari februari maart april mei juni juli augustus september oktober november december"
	monthsSV = "januari februari mars april maj juni juli augusti september oktober november december"
	monthsES = "enero febrero marzo abril mayo junio julio agosto septiembre octubre noviembre diciembre"
	monthsIT = "gennaio febbraio marzo aprile maggio giugno luglio agosto settembre ottobre novembre dicembre"
	monthsPT = "janeiro fevereiro março abril maio junho julho agosto setembro outubro novembro dezembro"
	monthsPL = "stycznia lutego marca kwietnia maja czerwca lipca sierpnia września października listopada grudnia"
	monthsDA = "januar februar marts april maj juni juli august september oktober november december"
	monthsCS = "ledna února března dubna května června července srpna září října listopadu prosince"
)

// tuningLocales are the languages both halves share; heldLocales come on top in the held-out half only.
var tuningLocales = []locale{
	{"en", "+44", "7700 900###", "Quarry Lane|Mill Road|Beech Avenue|Station Street", "LS? 4QD|BN? 7TW|NG? 2HB",
		"Leeds|Lewes|Nottingham",
		"William Elizabeth Margaret Robert Katherine Thomas Jennifer Michael Patricia Andrew Susan Edward " +
			"Gareth Siobhan",
		"Hartley Whitcombe O'Rourke Pemberton Blackwood Ashdown Lockhart May Price Long Best Thistlewood " +
			"Smith-Jones Farnsworth", monthsEN},
	{"de", "+49", "30 23125###", "Lindenstraße|Am Mühlbach|Goethestraße|Kirchgasse", "1###7|8###1",
		"Berlin|Tübingen|Köln",
		"Jürgen Käthe Björn Sören Friederike Annegret Wolfgang Heike Günther Liesel", "Müller Grünwald Schäfer " +
			"Weißkopf Böttcher Hölderle Krämer Zimmerling Großmann Übelhack", monthsDE},
	{"fr", "+33", "1 99 00 ## ##", "rue des Lilas|avenue Jean Moulin|boulevard Voltaire|chemin du Moulin",
		"750##|690##", "Paris|Lyon|Orléans",
		"Jean-Pierre Hélène François Aurélie Thérèse Benoît Solène Rémi Océane Gérard", "Lefèvre Beauséjour " +
			"D'Aubigny Gauthier Châtelain Maréchal Delacourt Bérenger Poirier", monthsFR},
	{"nl", "+31", "20 555 ####", "Keizersgracht|Dorpsstraat|Molenweg|Beukenlaan", "10?? AB|35?? KX",
		"Utrecht|Amsterdam",
		"Marijke Pieter Willem Annelies Joost Femke Sjoerd Hendrika", "van der Meulen de Groot Hoogendijk van den " +
			"Berg Dijkstra Terpstra Zoutewelle Kuipers", monthsNL},
	{"sv", "+46", "70 174 06 ##", "Storgatan|Björkvägen|Skolgatan|Drottninggatan", "114 ##|752 ##", "Uppsala|Göteborg",
		"Åsa Björn Göran Märta Sven Ingrid Håkan Kerstin", "Lindqvist Åkerström Sjöberg Öhman Hägglund Nordström " +
			"Wallgren Bergström", monthsSV},
	{"es", "+34", "612 34# ###", "Calle Mayor|Avenida de la Constitución|Paseo del Prado|Calle Olmo", "280##|410##",
		"Madrid|Sevilla",
		"José María Íñigo Concepción Álvaro Begoña Joaquín Rocío", "García Núñez Ibáñez Zubizarreta Peñalver " +
			"Domínguez Castañeda Quiñones", monthsES},
	{"it", "+39", "06 5550 ####", "Via Garibaldi|Corso Italia|Viale dei Tigli|Piazza Dante", "001##|201##",
		"Roma|Milano",
		"Giuseppe Niccolò Francesca Beatrice Lorenzo Chiara Alessandro Graziella", "Bianchini D'Angelo Ferrarese " +
			"Montecchi Pellegrini Scarpetta Lo Presti Vaccarella", monthsIT},
	{"pt", "+351", "912 34# ###", "Rua das Flores|Avenida da Liberdade|Travessa do Carmo|Rua Augusta",
		"1###-0##|4###-1##", "Lisboa|Porto",
		"João Conceição Antônio Inês Gonçalo Luís Mariana Estêvão", "Gonçalves Simões Magalhães Figueirão Brandão " +
			"Câmara Vasconcelos", monthsPT},
	{"pl", "+48", "22 555 ## ##", "ul. Długa|ul. Świętokrzyska|ul. Polna|al. Jerozolimskie", "00-#5#|31-#0#",
		"Warszawa|Kraków",
		"Łukasz Małgorzata Grażyna Zbigniew Wojciech Agnieszka Stanisław Bożena", "Wiśniewski Kowalczyk Dąbrowski " +
			"Zieliński Wójcik Szczepański Żurawski Łuczak", monthsPL},
	{"el", "+30", "21 0555 ####", "Οδός Ερμού|Οδός Σταδίου", "10# ##", "Αθήνα",
		"Γεώργιος/Georgios Ελένη/Eleni Νικόλαος/Nikolaos Κατερίνα/Katerina", "Παπαδόπουλος/Papadopoulos " +
			"Καραγιάννης/Karagiannis Νικολάου/Nikolaou Δημητρίου/Dimitriou", monthsEN},
	{"ru", "+7", "495 555 ## ##", "ул. Садовая|ул. Лесная", "1###00", "Москва",
		"Сергей/Sergey Наталья/Natalya Дмитрий/Dmitry Екатерина/Ekaterina", "Воронцов/Vorontsov Кузнецова/Kuznetsova " +
			"Лебедев/Lebedev Морозова/Morozova", monthsEN},
	{"ar", "+20", "2 2555 ####", "شارع النيل|شارع رمسيس", "11###", "القاهرة",
		"محمد/Mohamed فاطمة/Fatima خالد/Khaled سلمى/Salma", "الشريف/El-Sherif منصور/Mansour الحداد/Al-Haddad",
		monthsEN},
	{"zh", "+86", "10 5550 ####", "长安街|中山路", "10####", "北京",
		"伟明/Weiming 秀英/Xiuying 丽华/Lihua 志强/Zhiqiang", "欧阳/Ouyang 诸葛/Zhuge 司马/Sima 赵/Zhao", monthsEN},
	{"ja", "+81", "3 5550 ####", "桜通り|銀座", "10#-00##", "東京",
		"太郎/Taro 由美子/Yumiko 健一/Kenichi 花子/Hanako", "佐々木/Sasaki 渡辺/Watanabe 小林/Kobayashi 長谷川/Hasegawa", monthsEN},
}

var heldLocales = []locale{
	{"da", "+45", "32 55 ## ##", "Nørregade|Søndergade|Ålborgvej|Birkevænget", "21##|80##", "København|Aarhus",
		"Søren Ægidius Birgitte Jørgen Kirsten Åge Lærke Mogens", "Sørensen Kjærgaard Østergaard Brøndum Mølgaard " +
			"Skovgaard Thorlaksen", monthsDA},
	{"cs", "+420", "222 55# ###", "Dlouhá ulice|Květná ulice|Na Příkopě|Husova ulice", "11# 00|60# 00", "Praha|Brno",
		"Jiří Božena Zdeněk Kateřina Ondřej Věra Štěpán Ludmila", "Dvořák Novotný Procházka Růžička Šimůnek Hrabě " +
			"Kučera Němcová", monthsCS},
}

// roster invents n people over the locales; the same seed gives the same people.
func roster(r *rand.Rand, locales []locale, n int) []person {
	people := make([]person, n)
	for i := range people {
		l := locales[i%len(locales)]
		p := person{lang: l.lang}
		p.given, p.altGiven, _ = strings.Cut(pick(r, strings.Fields(l.given)), "/")
		p.family, p.altFamily, _ = strings.Cut(pick(r, families(l.family)), "/")
		p.phone = l.prefix + " " + digits(r, l.phone)
		p.street = fmt.Sprintf("%s %d", pick(r, strings.Split(l.street, "|")), 2+r.IntN(140))
		if l.lang == "en" || l.lang == "fr" {
			name, number, _ := cutLast(p.street)
			p.street = number + " " + name
		}
		p.postal = digits(r, pick(r, strings.Split(l.postal, "|")))
		p.city = pick(r, strings.Split(l.city, "|"))
		p.born = time.Date(1938+r.IntN(65), time.Month(1+r.IntN(12)), 13+r.IntN(15), 0, 0, 0, 0, time.UTC)
		p.email = fmt.Sprintf("%s%d@mail.example", strings.Map(keepASCII,
			strings.ToLower(or(p.altFamily, plain(p.family)))), 100+i)
		p.id = fmt.Sprintf("%s-%04d", strings.ToUpper(l.lang), 1200+7*i)
		p.record = fmt.Sprintf("%07d", 3100457+i*1931)
		people[i] = p
	}
	return people
}

// families splits a list of family names at spaces, keeping particles with the name they lead.
func families(list string) (names []string) {
	lead := ""
	for _, w := range strings.Fields(list) {
		if w == "van" || w == "de" || w == "der" || w == "den" || w == "Lo" {
			lead += w + " "
			continue
		}
		names, lead = append(names, lead+w), ""
	}
	return names
}

func pick[T any](r *rand.Rand, list []T) T { return list[r.IntN(len(list))] }

func or(a, b string) string {
	if a != "" {
		return a
	}
	return b
}

func cutLast(s string) (before, after string, ok bool) {
	i := strings.LastIndexByte(s, ' ')
	return s[:i], s[i+1:], true
}

// digits writes a random digit for each # of the pattern, and one from 1 to 9 for each ?.
func digits(r *rand.Rand, pattern string) string {
	return strings.Map(func(c rune) rune {
		switch c {
		case '#':
			return '0' + r.Int32N(10)
		case '?':
			return '1' + r.Int32N(9)
		}
		return c
	}, pattern)
}

func keepASCII(c rune) rune {
	if c >= 'a' && c <= 'z' {
		return c
	}
	return -1
}
