package leak

import (
	"math/rand"
	"sort"
	"strings"
	"testing"
	"time"
)

// Every subject of the sample's roster, in every spelling that this package
// means to find, between words that are not the sample's labels. The floors are
// what this version reaches; raise them, never lower them.
func TestSpellings(t *testing.T) {
	r := readRoster(t, "../../../shared/leak-sample/roster.csv")
	s := New(r)
	rnd := rand.New(rand.NewSource(7))
	carriers := []string{"Met § at the entrance", "§ complained of the smell", "put § on the list for may. pump at 250",
		"Harness retied; second try with §, plateau 5.1 %", "Diary entry of § deleted",
		"cartridge T26413210 filled by §."}
	titled := []string{"Met Mr § at the entrance", "patient § complained of the smell", "pt § wants a copy",
		"told ms § not to smoke", "Dr Who asked about patient §."}
	hit, all := map[string]int{}, map[string]int{}
	miss := map[string][]string{}
	try := func(variant, v string, cs []string) {
		c := cs[rnd.Intn(len(cs))]
		if rnd.Intn(8) == 0 {
			c = strings.ToLower(c)
		} else if rnd.Intn(10) == 0 {
			c = strings.ToUpper(c)
		}
		text := strings.Replace(c, "§", v, 1)
		a := strings.Index(c, "§")
		all[variant]++
		for _, m := range s.Scan(text, nil) {
			if m.Start < a+len(v) && a < m.End {
				hit[variant]++
				return
			}
		}
		miss[variant] = append(miss[variant], text)
	}
	typo := func(v string, kind int) string {
		x := []rune(v)
		for {
			i := 1 + rnd.Intn(len(x)-1)
			if x[i] == ' ' || x[i] == '-' || x[i] == '\'' {
				continue
			}
			l := rune('a' + rnd.Intn(26))
			switch kind {
			case 0:
				x[i] = l
			case 1:
				x = append(x[:i], x[i+1:]...)
			case 2:
				x = append(x[:i], append([]rune{l}, x[i:]...)...)
			case 3:
				if i+1 >= len(x) || x[i+1] == ' ' || x[i+1] == '-' || x[i+1] == x[i] {
					if len(x) < 3 {
						return v
					}
					i = 1
				}
				x[i], x[i-1] = x[i-1], x[i]
			}
			return string(x)
		}
	}
	for round := 0; round < 5; round++ {
		for _, row := range r.Rows {
			g, f := row["given_name"], row["family_name"]
			full := g + " " + f
			try("exact_full", full, carriers)
			try("given_only", g, carriers)
			try("family_only", f, titled)
			try("family_untitled", f, carriers)
			try("surname_first", f+", "+g, carriers)
			try("surname_first_caps", strings.ToUpper(f)+", "+g, carriers)
			try("surname_first_nocomma", f+" "+g, carriers)
			try("initials", string([]rune(g)[0])+". "+f, carriers)
			try("initials2", f+", "+string([]rune(g)[0])+".", carriers)
			try("initials3", string([]rune(g)[0])+"."+f, carriers)
			try("lower_full", strings.ToLower(full), carriers)
			try("lower_given", strings.ToLower(g), carriers)
			try("upper_full", strings.ToUpper(full), carriers)
			try("nodia", foldString(full), carriers)
			for k, n := range []string{"sub", "del", "ins", "swap"} {
				try("typo_full_"+n, typo(full, k), carriers)
				if len([]rune(f)) >= 5 {
					try("typo_family_"+n, typo(f, k), titled)
				}
				if len([]rune(g)) >= 5 {
					try("typo_given_"+n, typo(g, k), carriers)
				}
			}
			for _, o := range strings.Split(row["other_names"], ";") {
				if o = strings.TrimSpace(o); o != "" {
					try("other_only", o, carriers)
					try("other_given", g+" "+o, carriers)
				}
			}
			for _, p := range strings.FieldsFunc(f, func(r rune) bool { return r == ' ' || r == '-' }) {
				if len(p) > 3 {
					try("family_part", p, titled)
				}
			}
			e := strings.Fields(row["emergency_contact_name"])
			try("ec_full", row["emergency_contact_name"], carriers)
			try("ec_given", e[0], carriers)
			try("ec_family", e[len(e)-1], titled)
			x := []rune(full)
			i := 1 + rnd.Intn(len(x)-1)
			try("zw", string(x[:i])+"\u200b"+string(x[i:]), carriers)
			try("hyphen_break", string(x[:i])+"-\n"+string(x[i:]), carriers)
			try("break", strings.Replace(full, " ", "\n", 1), carriers)
			try("possessive", f+"’s", titled)
			try("possessive_full", full+"'s", carriers)
			try("joined", strings.ReplaceAll(strings.ReplaceAll(f, "-", ""), " ", ""), titled)
			vals := []string{"File no § searched", "sticker § removed", "number on the card: §."}
			group := func(v string) string {
				var b strings.Builder
				for i, c := range v {
					if i > 0 && rnd.Intn(3) == 0 {
						b.WriteString([]string{" ", "-", ".", "-\n", "/"}[rnd.Intn(5)])
					}
					b.WriteRune(c)
				}
				return b.String()
			}
			for _, col := range []string{"mrn", "national_id", "subject_id", "phone", "emergency_contact_phone"} {
				try(col, row[col], vals)
				try(col+"_lower", strings.ToLower(row[col]), vals)
				sq := squeeze(row[col])
				try(col+"_plain", sq, vals)
				try(col+"_regroup", group(sq), vals)
			}
			ph := row["phone"]
			_, nat, _ := strings.Cut(ph, " ")
			try("phone_national", "0"+nat, vals)
			try("phone_nat_nozero", nat, vals)
			try("phone_nat_dots", "0"+strings.ReplaceAll(nat, " ", "."), vals)
			try("phone_nat_plain", "0"+strings.ReplaceAll(nat, " ", ""), vals)
			try("phone_ext", nat+" ext 12", vals)
			d, _ := time.Parse("2006-01-02", row["birth_date"])
			for _, l := range []string{"2006/01/02", "02/01/2006", "01/02/2006", "1/2/06", "2.1.2006", "02.01.06",
				"2.1.06", "02-01-2006", "2 Jan 2006", "2 January 2006", "January 2, 2006", "Jan 2 06",
				"2nd of January 2006", "02JAN2006", "20060102", "02012006", "2. 1. 2006"} {
				try("dob "+l, d.Format(l), []string{"Born on §, nervous", "seen §.", "day of birth given as §",
					"§ is on the form"})
			}
			st := row["street"]
			where := []string{"Home is §", "fetched from §.", "lives at § now"}
			try("street", st, where)
			try("street_lower", strings.ToLower(st), where)
			try("street_nodia", foldString(st), where)
			for _, ab := range [][2]string{{"Road", "Rd"}, {"Street", "St"}, {"Avenue", "Ave"}, {"Close", "Cl"},
				{"Lane", "Ln"}, {"Drive", "Dr"}, {"Court", "Ct"}, {"str.", "straße"}, {"weg", "wg"}, {"laan", "ln"},
				{"Gata", "G."}, {"Via", "V."}, {"Avenida", "Av."}, {"Rua", "R."}, {"Place", "Pl."},
				{"Crescent", "Cres"}, {"Piazza", "P.zza"}, {"Allée", "All."}, {"Impasse", "Imp."}, {"Caddesi", "Cad."},
				{"Terrace", "Ter"}, {"Orchard", "Orch"}} {
				if strings.Contains(st, ab[0]) {
					try("street_abbrev", strings.Replace(st, ab[0], ab[1], 1), where)
				}
			}
			try("postal", row["postal_code"], []string{"Zip §", "zip §.", "area code for post §", "postcode § noted"})
			try("postal_compact", squeeze(strings.ToLower(row["postal_code"])), []string{"Zip §", "zip §.",
				"area code for post §"})
			try("postal_city", row["postal_code"]+" "+row["city"], where)
			try("email", strings.ToUpper(row["email"]), vals)
			local, _, _ := strings.Cut(row["email"], "@")
			try("email_local", local, vals)
		}
	}
	var ks []string
	for k := range all {
		ks = append(ks, k)
	}
	sort.Strings(ks)
	th, ta := 0, 0
	for _, k := range ks {
		th += hit[k]
		ta += all[k]
		if float64(hit[k]) < 0.9*float64(all[k]) {
			t.Errorf("%s: below nine in ten", k)
		}
		if hit[k] < all[k] {
			t.Logf("%-22s %5.1f  %d/%d  %q", k, 100*float64(hit[k])/float64(all[k]), hit[k], all[k],
				miss[k][:min(6, len(miss[k]))])
		}
	}
	t.Logf("%.2f %% of %d found", 100*float64(th)/float64(ta), ta)
	if ta < 20000 || float64(th)/float64(ta) < 0.995 {
		t.Error("below the floor")
	}
}
