package schema

import (
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// What arrives is judged as at the site, however the bytes are cut.
func TestCSVArrival(t *testing.T) {
	own := []Column{{Name: "t_s", Min: 0, Max: 9, Rising: true}, {Name: "flow", Min: -2, Max: 3}}
	texts := []string{
		"t_s,co2_kpa,pressure_pa\n0,1,2\n1,2,3\n", "t_s,co2_kpa,pressure_pa\r\n0,1,2\r\n",
		"t_s,co2_kpa,pressure_pa\n0,1,=2\n", "t_s,co2_kpa\n0,1\n",
		"t_s,flow\n0,1\n1,-2\n", "t_s,flow\n0,1\n0,1\n", "t_s,flow\n0,1\n1,3.5\n", "t_s,flow\n0,\n1,NaN\n",
		"t_s,flow\n,1\n", "flow,t_s\n0,1\n",
		"t_s,flow\n", "t_s,flow", "", "\n", "#!/bin/sh\n", "MZ\x00", strings.Repeat("a", 5000) + "\n",
		"t_s,flow\n0,1\n1,2", "t_s,flow\n0,1\r1,2\r", "t_s,flow\n0,1e9\n",
	}
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.SampledFrom(texts).Draw(t, "text")
		columns := rapid.SampledFrom([][]Column{own, DefaultColumns()}).Draw(t, "columns")
		site := NewCSVCheck("", columns, 1)
		site.Write([]byte(text))
		site.Close()
		var lab CSVArrival
		for rest := text; rest != ""; {
			n := rapid.IntRange(1, len(rest)).Draw(t, "n")
			lab.Write([]byte(rest[:n]))
			rest = rest[n:]
		}
		lab.Close()
		if at := lab.Fault(columns); (at == nil) != (len(site.Problems()) == 0) {
			t.Errorf("%.40q: the laboratory says %v, the site %v", text, at, site.Problems())
		}
	})
}
