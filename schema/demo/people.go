package demo

import (
	"encoding/csv"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"time"
)

// columns of roster.csv, in the order of [schema.RosterColumns].
var columns = []string{
	"subject_id", "given_name", "family_name", "other_names", "sex", "birth_date", "mrn", "national_id",
	"phone", "email", "street", "city", "postal_code", "country", "emergency_contact_name", "emergency_contact_phone",
}

// invented people, one per line: given, family, other names, sex, age, emergency contact, mail name.
var invented = []struct {
	given, family, other, sex string
	age                       int
	contact, mail             string
}{
	{"Zofia", "Wąsik-Małecka", "Zosia", "female", 47, "Bartłomiej Wąsik", "zofia.wasik"},
	{"Padraig", "O'Hallaghan", "Podge", "male", 91, "Gobnait O'Hallaghan", "p.ohallaghan"},
	{"Ottoline", "Winter", "", "female", 19, "Leopold Winter", "ottoline.winter"},
	{"Søren", "Fjældgård", "", "male", 56, "Astrid Fjældgård", "soeren.fjaeldgaard"},
	{"Mbali", "Dlozinkulu", "Mbalenhle", "female", 33, "Sipho Dlozinkulu", "mbali.dlozinkulu"},
	{"Jürgen", "Weißenbrück", "Jojo", "male", 72, "Hannelore Weißenbrück", "juergen.weissenbrueck"},
	{"Inés María", "Quiñonero de la Vega", "Nesi", "female", 28, "Hilario Quiñonero", "ines.quinonero"},
	{"Thanh Hòa", "Đặngvũ", "", "other", 41, "Quốc Đặngvũ", "thanhhoa.dangvu"},
	{"İpek", "Çağlarsoy", "", "female", 64, "Tarık Çağlarsoy", "ipek.caglarsoy"},
	{"Aarav", "Venkatasubbaiah", "Appu", "male", 38, "Lalitha Venkatasubbaiah", "aarav.venkat"},
	{"Seraphine", "N'Dioulobé", "", "female", 25, "Ousmane N'Dioulobé", "s.ndioulobe"},
	{"Daryna", "Kovalychenko", "Дарина", "female", 52, "Ostap Kovalychenko", "daryna.kovalychenko"},
	{"Haruto", "Hoshizakura", "星桜", "male", 67, "Kaede Hoshizakura", "haruto.hoshizakura"},
	{"Fionnuala", "Brackenthwaite-Ng", "Nuala", "unknown", 80, "Ignatius Ng", "f.brackenthwaite"},
	{"Giacomo", "D'Angelastro", "Mino", "male", 45, "Ludovica D'Angelastro", "giacomo.dangelastro"},
	{"Nahla", "al-Rashwani", "Umm Karim", "female", 36, "Karim al-Rashwani", "nahla.rashwani"},
	{"Leilani", "Keʻalamākua", "Lani", "female", 59, "Makoa Keʻalamākua", "leilani.kealamakua"},
	{"Tomáš", "Hřebejček", "Tomík", "male", 31, "Květa Hřebejčková", "tomas.hrebejcek"},
	{"Eszter", "Szűcsvári", "", "female", 89, "Gergő Szűcsvári", "eszter.szucsvari"},
	{"Ragnheiður", "Þorbrandsdóttir", "Ragga", "female", 43, "Sigfús Þorbrandsson", "ragga.thorbrands"},
	{"Guilherme", "Antunes Pereirinha", "Guga", "male", 22, "Conceição Antunes", "g.antunes"},
	{"Mairéad", "Penhallowick", "", "female", 77, "Jowan Penhallowick", "mairead.penhallowick"},
	{"Chidubem", "Okwuosachukwu", "Dubem", "male", 49, "Ifeoma Okwuosachukwu", "dubem.okwuosa"},
	{"Anneliese", "van der Zwaluwen", "Lies", "female", 61, "Gijsbert van der Zwaluwen", "lies.zwaluwen"},
}

// Unassigned ZIP prefixes (987, 817), from memory, and one of the 17 prefixes
// that hold 20,000 people or fewer (036; standards 1.3).
var places = []struct{ city, zip string }{
	{"Harrowmere", "987"}, {"Sluice Bend", "987"}, {"Tarnwick Falls", "817"}, {"Ostlowe", "036"}, {"Quillhaven", "817"},
}

var streets = []string{
	"Sluice Lane", "Heronsgate", "Old Ropewalk", "Tanner's Rise", "Millrace Court", "Cinder Path", "Upper Weirside",
}

// The exchange 555-0100 to 555-0199 is set aside for fiction in every area of
// the North American plan (standards 5.20); 020 7946 0000 to 0999 and 01 99 00
// 00 00 to 99 99 likewise in Britain (standards 5.20) and France (from memory).
var areas = []string{"212", "303", "503", "812", "914", "617", "415", "702"}

func fictionPhone(n int) string {
	return fmt.Sprintf("+1 %s 555 %04d", areas[n/99%len(areas)], 100+n%99) // 0199 is the site's own
}

func contactPhone(n int) string {
	switch n % 7 {
	case 3:
		return fmt.Sprintf("+44 20 7946 %04d", n*37%1000)
	case 5:
		return fmt.Sprintf("+33 1 99 00 %02d %02d", n*13%100, n*29%100)
	}
	return fictionPhone(n + 400)
}

// people makes the roster. The first rows are as listed above; when more are
// wanted, given and family names are combined anew.
func people(o Options) []map[string]string {
	rows := make([]map[string]string, o.Subjects)
	for i := range rows {
		r := rng(o.Seed, "person", i)
		given := invented[i%len(invented)]
		family := invented[(i+i/len(invented)*5)%len(invented)]
		age := given.age
		if i >= len(invented) {
			age = 19 + r.IntN(72)
		}
		// Between two birthdays, so that the age is the same in the whole week.
		birth := o.Start.AddDate(-age, 0, -30-r.IntN(300)).Format(time.DateOnly)
		place := places[i%len(places)]
		user := family.mail
		if i >= len(invented) {
			user += fmt.Sprint(i)
		}
		row := map[string]string{
			"subject_id":  fmt.Sprintf("LARK2-WEIR-%03d", i+1),
			"given_name":  given.given,
			"family_name": family.family,
			"other_names": given.other,
			"sex":         given.sex,
			"birth_date":  birth,
			"mrn":         fmt.Sprintf("MRN %08d", 30_417_788+i*7919+r.IntN(7919)),
			// Areas from 900 on have never been issued, and the group 00 nowhere
			// (standards 5.2).
			"national_id":             fmt.Sprintf("%03d-00-%04d", 900+i*37%100, 1000+i*53%9000),
			"phone":                   fictionPhone(i),
			"email":                   user + []string{"@example.org", "@post.example"}[i%2],
			"street":                  fmt.Sprintf("%d %s", 3+r.IntN(240), streets[i%len(streets)]),
			"city":                    place.city,
			"postal_code":             fmt.Sprintf("%s%02d", place.zip, i*7%100),
			"country":                 "US",
			"emergency_contact_name":  family.contact,
			"emergency_contact_phone": contactPhone(i),
		}
		// Rosters have gaps.
		switch i % 10 {
		case 6:
			row["email"] = ""
		case 8:
			row["emergency_contact_name"], row["emergency_contact_phone"] = "", ""
		}
		for k, v := range row {
			if v == "" {
				delete(row, k)
			}
		}
		rows[i] = row
	}
	return rows
}

func writeRoster(dir string, t *Truth) error {
	f, err := os.OpenFile(filepath.Join(dir, "roster.csv"), os.O_WRONLY|os.O_CREATE|os.O_TRUNC, 0o600)
	if err != nil {
		return err
	}
	w := csv.NewWriter(f)
	w.Write(t.Columns)
	for _, row := range t.Roster {
		cells := make([]string, len(t.Columns))
		for i, c := range t.Columns {
			cells[i] = row[c]
		}
		w.Write(cells)
	}
	w.Flush()
	return errors.Join(w.Error(), f.Close())
}
