package leak_test

import (
	"fmt"
	"math/big"
	"math/rand/v2"
	"strings"
)

// Identifiers with a valid check digit, by this sample's own arithmetic from the published rules
// (named in national_test.go beside the published examples).

func digitsN(r *rand.Rand, n int) []int {
	d := make([]int, n)
	for i := range d {
		d[i] = r.IntN(10)
	}
	if d[0] == 0 {
		d[0] = 4
	}
	return d
}

func join(d []int) string {
	var b strings.Builder
	for _, x := range d {
		fmt.Fprint(&b, x)
	}
	return b.String()
}

// luhn is the digit that completes d.
func luhn(d []int) int {
	sum := 0
	for i := range d {
		x := d[len(d)-1-i]
		if i%2 == 0 {
			if x *= 2; x > 9 {
				x -= 9
			}
		}
		sum += x
	}
	return (10 - sum%10) % 10
}

func weighted(d []int, first, step int) (sum int) {
	for i, x := range d {
		sum += x * (first + i*step)
	}
	return sum
}

func nhs(r *rand.Rand) string {
	for {
		d := digitsN(r, 9)
		if c := 11 - weighted(d, 10, -1)%11; c != 10 {
			s := join(append(d, c%11))
			return s[:3] + " " + s[3:6] + " " + s[6:]
		}
	}
}

// 987-65-4320 to 4329: once reserved for advertisements; groups outside it in area 900 are never issued
func ssn(r *rand.Rand) string {
	return fmt.Sprintf("9%02d-%02d-%04d", r.IntN(100), 10+r.IntN(80), 1+r.IntN(9000))
}

func nir(r *rand.Rand) string {
	n := int64(1+r.IntN(2))*1e12 + int64(30+r.IntN(69))*1e10 + int64(1+r.IntN(12))*1e8 + int64(1+r.IntN(95))*1e6 +
		int64(1+r.IntN(900))*1e3 + int64(1+r.IntN(900))
	s := fmt.Sprintf("%d%02d", n, 97-n%97)
	if r.IntN(2) == 0 {
		return s
	}
	return s[:1] + " " + s[1:3] + " " + s[3:5] + " " + s[5:7] + " " + s[7:10] + " " + s[10:13] + " " + s[13:]
}

func steuerID(r *rand.Rand) string {
	d := r.Perm(10)
	if d[0] == 0 {
		d[0], d[1] = d[1], d[0]
	}
	d[9] = d[2] // one digit twice, one not at all
	p := 10
	for _, x := range d {
		if p = (p + x) % 10; p == 0 {
			p = 10
		}
		p = p * 2 % 11
	}
	s := join(append(d, (11-p)%10))
	return s[:2] + " " + s[2:5] + " " + s[5:8] + " " + s[8:]
}

func dni(r *rand.Rand) string {
	n := 10000000 + r.IntN(80000000)
	return fmt.Sprintf("%d%c", n, "TRWAGMYFPDXBNJZSQVHLCKE"[n%23])
}

func bsn(r *rand.Rand) string {
	for {
		d := digitsN(r, 8)
		if c := weighted(d, 9, -1) % 11; c < 10 {
			return join(append(d, c))
		}
	}
}

func personnummer(r *rand.Rand) string {
	s := fmt.Sprintf("%02d%02d%02d", 40+r.IntN(59), 1+r.IntN(12), 1+r.IntN(28))
	d := make([]int, 0, 10)
	for _, c := range s {
		d = append(d, int(c-'0'))
	}
	d = append(d, digitsN(r, 3)...)
	d = append(d, luhn(d))
	all := join(d)
	return all[:6] + "-" + all[6:]
}

func sin(r *rand.Rand) string {
	d := digitsN(r, 8)
	d[0] = 1 + r.IntN(7)
	s := join(append(d, luhn(d)))
	return s[:3] + "-" + s[3:6] + "-" + s[6:]
}

func cpf(r *rand.Rand) string {
	d := digitsN(r, 9)
	for range 2 {
		d = append(d, weighted(d, len(d)+1, -1)*10%11%10)
	}
	s := join(d)
	return s[:3] + "." + s[3:6] + "." + s[6:9] + "-" + s[9:]
}

func npi(r *rand.Rand) string {
	d := digitsN(r, 9)
	d[0] = 1
	return join(append(d, luhn(append([]int{8, 0, 8, 4, 0}, d...))))
}

func iban(r *rand.Rand) string {
	bban := join(digitsN(r, 18))
	n, _ := new(big.Int).SetString(bban+"131400", 10) // DE, 00
	s := fmt.Sprintf("DE%02d%s", 98-n.Mod(n, big.NewInt(97)).Int64(), bban)
	return s[:4] + " " + s[4:8] + " " + s[8:12] + " " + s[12:16] + " " + s[16:20] + " " + s[20:]
}

func card(r *rand.Rand) string {
	d := digitsN(r, 15)
	d[0] = 4
	return regroup(join(append(d, luhn(d))), " ", 4)
}

func vin(r *rand.Rand) string {
	const letters, values = "ABCDEFGHJKLMNPRSTUVWXYZ0123456789", "123456781234579234567890123456789"
	weights := []int{8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2}
	b, sum := make([]byte, 17), 0
	for i := range b {
		if i > 11 || i == 1 {
			b[i] = byte('1' + r.IntN(9))
		} else {
			b[i] = letters[r.IntN(len(letters))]
		}
		sum += int(values[strings.IndexByte(letters, b[i])]-'0') * weights[i]
	}
	b[8] = "0123456789X"[sum%11]
	return string(b)
}
