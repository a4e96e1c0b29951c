package schema

import "testing"

// Source: OWASP, "CSV Injection" (from memory); numbers with a sign are ours.
func TestFormula(t *testing.T) {
	for _, cell := range []string{"=1+1", "+1+1", "-1+1", "-", "+", "@SUM(A1)", "\t=1", "\r", "=",
		"+cmd|' /C calc'!A0", "-A1", "＝1", "＋1", "－1", "＠A", "-1e", "--1", "+0x10", "-1 000"} {
		if !Formula(cell) {
			t.Errorf("%q is not taken for a formula", cell)
		}
	}
	for _, cell := range []string{"", "1", "-1", "+1", "-0.5", "+2.50e3", "-1E-3", "T001", "1-2", "a=b", "NaN", ".5"} {
		if Formula(cell) {
			t.Errorf("%q is taken for a formula", cell)
		}
	}
}
