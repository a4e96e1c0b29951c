package leak

import "strings"

// luhn reports whether the digits of b pass the Luhn check (ISO/IEC 7812-1, annex B);
// it ignores other bytes.
func luhn(b []byte) bool {
	sum, n := 0, 0
	for k := len(b) - 1; k >= 0; k-- {
		if class[b[k]] != cDigit {
			continue
		}
		v := int(b[k] - '0')
		if n%2 == 1 {
			if v *= 2; v > 9 {
				v -= 9
			}
		}
		sum += v
		n++
	}
	return n > 0 && sum%10 == 0
}

// issued reports whether nine digits can be a US social security number, or a tax
// number of its form, which begins with 9. Source: SSA, "Social Security Number
// Randomization", questions and answers: areas 000 and 666, group 00 and serial
// 0000 are not issued.
func issued(d []byte) bool {
	area, group, serial := string(d[:3]), string(d[3:5]), string(d[5:])
	taxed := area[0] == '9' && group >= "50" // IRS: groups 50 and above, from memory
	return area != "000" && area != "666" && (area[0] != '9' || taxed) && group != "00" && serial != "0000"
}

// nhs checks ten digits by modulus 11 with the weights 10 to 2; a check digit of 10 is
// invalid. Source: NHS number method.
func nhs(d []byte) bool {
	sum := 0
	for k, c := range d[:9] {
		sum += int(c-'0') * (10 - k)
	}
	check := 11 - sum%11
	return check%11 == int(d[9]-'0') && check != 10
}

// mod97 reports whether the folded IBAN b has the right check digits: the first four
// characters moved to the end, letters as 10 to 35, the remainder modulo 97 is 1 (ISO
// 13616).
func mod97(b []byte) bool {
	r := 0
	for k := range b {
		c := b[(k+4)%len(b)]
		switch {
		case '0' <= c && c <= '9':
			r = (r*10 + int(c-'0')) % 97
		case 'a' <= c && c <= 'z':
			r = (r*100 + int(c-'a') + 10) % 97
		default:
			return false
		}
	}
	return r == 1
}

// The checks below take digits and lower-case letters without separators.

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

// steuerID: among the first ten digits one occurs twice or three times, and no other
// does; ISO 7064 MOD 11,10.
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

// cpf: two check digits by modulus 11; not all digits are equal; from memory.
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

// dni: a check letter by modulus 23; a leading X, Y or Z of foreign residents counts as
// 0, 1 or 2.
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

// nir: the key is 97 - n mod 97; the departments 2A and 2B count as 19 and 18.
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

// personnummer: Luhn over the last ten digits; two digits of the century may precede.
func personnummer(v string) bool {
	if len(v) == 12 {
		v = v[2:]
	}
	return len(v) == 10 && digits(v) && luhn([]byte(v))
}

// vin: 49 CFR 565.15, the ninth character is the check character.
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

// bornDigits reports whether a personal number begins with a date of birth, and is not
// a date and time of the present years such as 260312-0915.
func bornDigits(v []byte) bool {
	if len(v) == 12 {
		if v[0] != '1' || v[1] != '9' {
			return false
		}
		v = v[2:]
	}
	two := func(k int) int { return int(v[k]-'0')*10 + int(v[k+1]-'0') }
	month, day := two(2), two(4)
	clock := two(6) < 24 && two(8) < 60 && two(0) >= 15 && two(0) < 40
	return month >= 1 && month <= 12 && (day >= 1 && day <= 31 || day >= 61 && day <= 91) && !clock
}
