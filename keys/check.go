package keys

import "strings"

// Check3736 returns the check character of s, which must hold only 0-9 and A-Z.
//
// Source: ISO/IEC 7064, hybrid system MOD 37,36.
func Check3736(s string) byte {
	const alphabet = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"
	p := 36
	for i := range len(s) {
		sum := (p + strings.IndexByte(alphabet, s[i])) % 36
		if sum == 0 {
			sum = 36
		}
		p = sum * 2 % 37
	}
	return alphabet[(37-p)%36]
}
