package leak

import "strings"

// A scheme is a kind of national or professional number with check characters.
type scheme struct {
	class Class
	name  string
	sizes string // characters, as letters: 'i' is 9
	holds func(v string) bool
}

var (
	sinScheme   = &scheme{"R", "social insurance number", "i", sin}
	bsnScheme   = &scheme{"R", "citizen service number", "i", bsn}
	npiScheme   = &scheme{"K", "provider number", "j", npi}
	taxScheme   = &scheme{"R", "tax number", "k", steuerID}
	cpfScheme   = &scheme{"R", "tax number", "k", cpf}
	dniScheme   = &scheme{"R", "identity number", "i", dni}
	nirScheme   = &scheme{"R", "social security number", "o", nir}
	birthScheme = &scheme{"R", "personal number", "jl", personnummer}
	vinScheme   = &scheme{"L", "vehicle identification number", "q", vin}
)

// schemes are named by the words that stand before their numbers.
var schemes = map[string]*scheme{
	"sin": sinScheme, "nas": sinScheme, "bsn": bsnScheme, "burgerservicenummer": bsnScheme, "npi": npiScheme,
	"idnr": taxScheme, "steuernummer": taxScheme, "steuerid": taxScheme, "cpf": cpfScheme, "dni": dniScheme, "nie": dniScheme, "nif": dniScheme,
	"nir": nirScheme, "insee": nirScheme, "personnummer": birthScheme, "pnr": birthScheme, "steuer": taxScheme, "secu": nirScheme, "provider": npiScheme, "prescriber": npiScheme, "vin": vinScheme, "fahrgestellnummer": vinScheme,
}

// national finds the number that the word at token i names the scheme of. The
// check decides how certain it is: a slip of the pen is a number all the same.
func (p *page) national(i int) {
	s := schemes[string(p.word(i))]
	if s == nil {
		return
	}
	first := i + 1
	if first < len(p.tok) && !p.number(first) && !(first+1 < len(p.tok) && p.tok[first+1].glued) { // no., is, number
		first++
	}
	if first >= len(p.tok) || p.tok[first].glued || !strings.ContainsAny(string(p.gap(first)), " :") {
		return
	}
	var room [20]byte
	v, d, last, conf := room[:0], 0, -1, Possible // d: digits
	for j := first; j < len(p.tok) && len(v)+p.tok[j].e-p.tok[j].s <= 18; j++ {
		if g := p.gap(j); j > first && len(g) > 0 && (len(g) > 1 || strings.IndexByte(" -./+", g[0]) < 0) {
			break
		}
		if w := p.word(j); p.tok[j].number {
			d += len(w)
		} else if len(w) > 1 && s != vinScheme {
			break // a word
		}
		v = append(v, p.word(j)...)
		if d < 4 || d < 7 && s != vinScheme || j+1 < len(p.tok) && p.tok[j+1].glued || strings.IndexByte(s.sizes, 'a'+byte(len(v))-1) < 0 {
			continue
		}
		last = j
		if s.holds(string(v)) {
			conf = Sure // it is named, and its check characters hold
			break
		}
	}
	if last < 0 {
		return
	}
	p.emit(p.tok[first].s, p.tok[last].e, s.class, "pattern: "+s.name, conf)
}

// The checks take digits and small letters without separators.

// sin: Luhn, first digit neither 0 nor 8.
func sin(v string) bool {
	return len(v) == 9 && digits(v) && v[0] != '0' && v[0] != '8' && luhn([]byte(v))
}

// npi: Luhn over 80840 and the number (CMS).
func npi(v string) bool { return len(v) == 10 && digits(v) && luhn([]byte("80840"+v)) }

// bsn: weights 9 to 2 and -1, modulus 11.
func bsn(v string) bool {
	if len(v) != 9 || !digits(v) {
		return false
	}
	sum := -int(v[8] - '0')
	for k := range 8 {
		sum += int(v[k]-'0') * (9 - k)
	}
	return sum%11 == 0
}

// steuerID: one digit of the first ten twice or three times, ISO 7064 MOD 11,10.
func steuerID(v string) bool {
	if len(v) != 11 || !digits(v) || v[0] == '0' {
		return false
	}
	var n [10]int
	for k := range 10 {
		n[v[k]-'0']++
	}
	more := 0
	for _, c := range n {
		if c > 3 {
			return false
		}
		if c > 1 {
			more++
		}
	}
	r := 10
	for k := range 10 {
		if r = (r + int(v[k]-'0')) % 10; r == 0 {
			r = 10
		}
		r = r * 2 % 11
	}
	return more == 1 && (11-r)%10 == int(v[10]-'0')
}

// cpf: two check digits by modulus 11, not all digits equal; from memory.
func cpf(v string) bool {
	if len(v) != 11 || !digits(v) || strings.Count(v, v[:1]) == 11 {
		return false
	}
	for n := 9; n < 11; n++ {
		sum := 0
		for k := range n {
			sum += int(v[k]-'0') * (n + 1 - k)
		}
		if sum*10%11%10 != int(v[n]-'0') {
			return false
		}
	}
	return true
}

// dni: a letter by modulus 23; X, Y, Z before a foreigner's are 0, 1, 2.
func dni(v string) bool {
	if len(v) != 9 {
		return false
	}
	n := strings.NewReplacer("x", "0", "y", "1", "z", "2").Replace(v[:1]) + v[1:8]
	if !digits(n) {
		return false
	}
	r := 0
	for k := range n {
		r = (r*10 + int(n[k]-'0')) % 23
	}
	return v[8] == "trwagmyfpdxbnjzsqvhlcke"[r]
}

// nir: key 97 - n mod 97; Corsica's 2A is 19 and 2B is 18.
func nir(v string) bool {
	if len(v) != 15 {
		return false
	}
	switch v[5:7] {
	case "2a":
		v = v[:5] + "19" + v[7:]
	case "2b":
		v = v[:5] + "18" + v[7:]
	}
	if !digits(v) {
		return false
	}
	r := 0
	for k := range 13 {
		r = (r*10 + int(v[k]-'0')) % 97
	}
	return 97-r == int(v[13]-'0')*10+int(v[14]-'0')
}

// personnummer: Luhn over the ten digits; the century may stand before them.
func personnummer(v string) bool {
	if len(v) == 12 {
		v = v[2:]
	}
	return len(v) == 10 && digits(v) && luhn([]byte(v))
}

// vin: 49 CFR 565.15, check character at the ninth place.
func vin(v string) bool {
	if len(v) != 17 {
		return false
	}
	const letters, values = "abcdefghjklmnprstuvwxyz", "12345678123457923456789"
	sum := 0
	for k, w := range [17]int{8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2} {
		c := v[k]
		if class[c] != cDigit {
			n := strings.IndexByte(letters, c)
			if n < 0 {
				return false
			}
			c = values[n]
		}
		sum += w * int(c-'0')
	}
	return v[8] == "0123456789x"[sum%11]
}
