package deid

import "outbreath/schema"

// Generalise returns the text of one value of session s when it is treated by t, exactly as
// [Treat] does. It is false for a treatment that does not apply to the value, and for treatments
// other than keep, round, age-band, region, and the year of a date. Nothing is searched, so the
// result is for counting and must not leave.
func Generalise(t schema.Treatment, n *schema.Node, s *schema.Session) (string, bool) {
	if n.Kind == schema.Null || t.Kind == schema.Keep {
		return n.Text, true
	}
	if t.Kind == schema.Round {
		if n.Kind != schema.Number {
			return "", false
		}
		text, err := coded(n.Text, t)
		return text, err == nil
	}
	if n.Kind != schema.String {
		return "", false
	}
	v := &visit{Session: s, day: civilDay(s.Started)}
	switch t.Kind {
	case schema.AgeBand:
		text, err := bandOf(n.Text, v.day, t.Width)
		return text, err == nil
	case schema.Region:
		text, err := region(n.Text, t.Width)
		return text, err == nil
	case schema.Year:
		node, err := yearNode(v, n.Text)
		if err != nil || node.Kind != schema.Number {
			return "", false
		}
		return node.Text, true
	}
	return "", false
}
