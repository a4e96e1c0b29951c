package schema

import (
	"regexp"
	"strconv"
)

var columnName = regexp.MustCompile(`^[A-Za-z][A-Za-z0-9_.-]{0,63}$`)

// parseColumns reads the annotation "columns": a list of objects with name, min, max and, if
// need be, digits and rising (for a column of times). The message is "" if it is valid.
func parseColumns(n *Node) (columns []Column, message string) {
	const want = `"columns" must be a list of at most 64 objects such as {"name": "t_s", "min": 0, "max": 3600, ` +
		`"rising": true}`
	if n.Kind != Array || len(n.Items) == 0 || len(n.Items) > 64 {
		return nil, want
	}
	seen := make(map[string]bool)
	for _, item := range n.Items {
		if item.Kind != Object {
			return nil, want
		}
		var c Column
		for _, m := range item.Members {
			ok := false
			switch m.Name {
			case "name":
				c.Name, ok = m.Value.Text, m.Value.Kind == String
			case "min":
				c.Min, ok = number(m.Value)
			case "max":
				c.Max, ok = number(m.Value)
			case "digits":
				ok = isDigits(m.Value) == ""
				c.Digits = whole(m.Value, 0)
			case "rising":
				c.Rising, ok = m.Value.Text == "true", m.Value.Kind == Bool
			}
			if !ok {
				return nil, want
			}
		}
		switch {
		case !columnName.MatchString(c.Name) || seen[c.Name]:
			return nil, `every column needs a "name" of its own, made of letters, digits, underscores, points and ` +
				`hyphens, beginning with a letter`
		case item.Member("min") == nil || item.Member("max") == nil || c.Min >= c.Max:
			return nil, `every column needs a "min" and a greater "max", in the unit that its name ends with`
		}
		seen[c.Name] = true
		columns = append(columns, c)
	}
	return columns, ""
}

func number(n *Node) (float64, bool) {
	f, err := strconv.ParseFloat(n.Text, 64)
	return f, err == nil && n.Kind == Number
}
