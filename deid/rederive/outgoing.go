package rederive

import (
	"bytes"
	"slices"
	"strconv"
)

// Patterns of values that treatments make.
//
// Source: the project's format description.
const (
	codePattern      = `[0-9A-HJKMNP-TV-Z]{4}(-[0-9A-HJKMNP-TV-Z]{4}){3}-[0-9A-Z]`
	recordingPattern = `^recordings/` + codePattern + `-[1-9][0-9]*\.(csv|edf)$`
	bandPattern      = `^([0-9]{1,2}-[0-9]{1,2}|90\+)$`
	localPattern     = `^[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}(\.[0-9]{1,3})?$`
	hourPattern      = `^[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}$`
)

// outgoing compares the schema that goes to the laboratory with the one that the plan's
// own schema and its treatments give.
func (c *Comparison) outgoing() {
	const path = "data/session.schema.json"
	data, there := c.read(PlanSchema, path)
	if there == nil {
		return
	}
	plan, err := parse(c.source.Schema)
	switch {
	case err != nil:
		c.untestable(PlanSchema, "the schema for the laboratory", "the plan's own schema is not known here",
			there.leaves(), int64(len(data)))
		return
	case plan.has("$ref", "oneOf", "anyOf"):
		c.foreign(path, plan, there, data)
		return
	}
	o := &outline{c: c, described: slices.Contains([]string{"shifted", "limited", "year-only"}, c.source.Plan)}
	made := o.write(plan, c.root)
	if made == nil || o.failed {
		c.foreign(path, plan, there, data)
		return
	}
	top := &node{kind: object}
	top.put("$schema", str("https://json-schema.org/draft/2020-12/schema"))
	top.names, top.items = append(top.names, made.names...), append(top.items, made.items...)
	c.trees(PlanSchema, path, top, there, data)
}

// has reports whether n has a member with one of the names, at any depth.
func (n *node) has(names ...string) bool {
	for i, item := range n.items {
		if n.kind == object && slices.Contains(names, n.names[i]) || item.has(names...) {
			return true
		}
	}
	return false
}

// foreign looks at a schema with references or alternatives: every text in it must be in
// the plan's schema too, or be one that a treatment writes. Its structure is not computed.
func (c *Comparison) foreign(path string, plan, there *node, data []byte) {
	known := map[string]bool{"https://json-schema.org/draft/2020-12/schema": true, "string": true, "number": true,
		"integer": true, "object": true, "date": true, "date-time": true, "year": true, "elapsed_s": true, "day": true,
		"^" + codePattern + "$": true, recordingPattern: true, bandPattern: true, "null": true, "anyOf": true,
		"properties": true, "required": true, "additionalProperties": true, "type": true, "pattern": true,
		"minLength": true, "maxLength": true, "minimum": true, "maximum": true, "items": true, "maxItems": true,
		"$schema": true, "format": true, localPattern: true, hourPattern: true}
	plan.texts(func(s string) { known[s] = true })
	bad := false
	there.texts(func(s string) { bad = bad || !known[s] })
	if bad || !bytes.Equal(there.write(), data) {
		c.unlike(PlanSchema, path, "", "holds a text that the plan's schema does not hold, or another form of writing",
			there.leaves(), int64(len(data)))
		return
	}
	c.untestable(PlanSchema, "the schema for the laboratory", "the plan's schema has references or alternatives; only "+
		"its texts were compared", there.leaves(), int64(len(data)))
}

// texts calls f for every string and every member name.
func (n *node) texts(f func(string)) {
	if n.kind == text {
		f(n.text)
	}
	for i, item := range n.items {
		if n.kind == object {
			f(n.names[i])
		}
		item.texts(f)
	}
}

// An outline writes the schema of what leaves.
type outline struct {
	c         *Comparison
	described bool // titles and descriptions leave: only of a built-in plan
	failed    bool // the schema does not have the form that is understood here
}

// silent are keywords that say nothing about what leaves, or that are written anew.
var silent = []string{"$schema", "$id", "$defs", "$comment", "default", "examples", "deprecated", "deid", "risk", "why",
	"columns", "digits", "decimals", "properties", "required", "additionalProperties", "items"}

// spoken returns the keywords of n that stay as they are.
func (o *outline) spoken(n *node) *node {
	out := &node{kind: object}
	for i, name := range n.names {
		if slices.Contains(silent, name) || !o.described && (name == "title" || name == "description") {
			continue
		}
		out.put(name, n.items[i])
	}
	return out
}

// write returns the schema of the values at s that leave; nil if none do.
func (o *outline) write(n *node, s *step) *node {
	if s == nil || n == nil || n.kind != object {
		o.failed = true
		return nil
	}
	switch {
	case n.member("properties") != nil:
		return o.object(n, s)
	case n.member("items") != nil:
		return o.list(n, s)
	case s.field < 0:
		o.failed = true
		return nil
	}
	return o.leaf(n, s.field)
}

func (o *outline) object(n *node, s *step) *node {
	if !s.leaves {
		return nil
	}
	needed := map[string]bool{}
	if list := n.member("required"); list != nil {
		for _, item := range list.items {
			needed[item.text] = true
		}
	}
	out, required, properties := o.spoken(n), &node{kind: array}, &node{kind: object}
	from := n.member("properties")
	for i, name := range from.names {
		part := o.write(from.items[i], s.named(name))
		if part == nil {
			continue
		}
		properties.put(name, part)
		if needed[name] {
			required.items = append(required.items, str(name))
		}
	}
	out.put("additionalProperties", &node{kind: truth, text: "false"})
	if len(required.items) > 0 {
		out.put("required", required)
	}
	out.put("properties", properties)
	return out
}

// named returns the member called name; nil for none.
func (s *step) named(name string) *step {
	for _, m := range s.members {
		if m.name == name {
			return m
		}
	}
	return nil
}

func (o *outline) list(n *node, s *step) *node {
	if s.entries == nil || !s.entries.leaves {
		return nil
	}
	out := o.spoken(n)
	if !o.unchanged(s.entries) { // treated entries may be equal
		out.drop("uniqueItems")
	}
	items := o.write(n.member("items"), s.entries)
	if items == nil {
		return nil
	}
	out.put("items", items)
	return out
}

func (n *node) drop(name string) {
	if i := slices.Index(n.names, name); i >= 0 {
		n.names, n.items = slices.Delete(n.names, i, i+1), slices.Delete(n.items, i, i+1)
	}
}

// unchanged reports whether every value at s leaves as it is.
func (o *outline) unchanged(s *step) bool {
	if s.field >= 0 && o.c.rules[s.field].kind != "keep" || s.entries != nil && !o.unchanged(s.entries) {
		return false
	}
	return !slices.ContainsFunc(s.members, func(m *step) bool { return !o.unchanged(m) })
}

// leaf returns the keywords for the values that a treatment makes.
func (o *outline) leaf(n *node, field int) *node {
	r := o.c.rules[field]
	if r.kind == "drop" {
		return nil
	}
	if r.kind == "keep" {
		return o.spoken(n)
	}
	out := &node{kind: object}
	if title := n.member("title"); title != nil && o.described {
		out.put("title", title)
	}
	put := func(name string, v *node) { out.put(name, v) }
	switch r.kind {
	case "year", "day":
		dayNumber(out, n, r.kind)
		return out
	case "shift":
		moved(out, n, r.clock)
		return out
	case "round":
		put("type", str("number"))
		if r.coded {
			put("minimum", whole(r.from))
			put("maximum", whole(r.to))
		}
		return out
	}
	put("type", str("string"))
	switch r.kind {
	case "pseudonym":
		put("pattern", str("^"+codePattern+"$"))
	case "age-band":
		put("pattern", str(bandPattern))
	case "region":
		most := 3
		if r.width > 0 {
			most = r.width
		}
		put("minLength", whole(1))
		put("maxLength", num(strconv.Itoa(most)))
	case "recording":
		put("pattern", str(recordingPattern))
		if columns := n.member("columns"); columns != nil {
			put("columns", columns)
		}
	}
	return out
}

// moved describes a date or time that was moved; of a time only what clock says leaves.
func moved(out, n *node, clock string) {
	date := n.member("format").str() == "date"
	if clock == "drop" && !date {
		inner := &node{kind: object}
		inner.put("type", str("string"))
		inner.put("format", str("date"))
		timed(out, "date", inner)
		return
	}
	out.put("type", str("string"))
	switch {
	case date:
		out.put("format", str("date"))
	case clock == "hour":
		out.put("pattern", str(hourPattern))
	default:
		out.put("pattern", str(localPattern))
	}
}

// dayNumber describes a date that became a year or a number of days.
func dayNumber(out, n *node, name string) {
	if n.member("format").str() == "date" {
		out.put("type", str("integer"))
		return
	}
	inner := &node{kind: object}
	inner.put("type", str("integer"))
	timed(out, name, inner)
}

// timed describes a time that became a first member, as its own schema says, and the
// seconds of the session.
func timed(out *node, name string, first *node) {
	seconds := &node{kind: object}
	seconds.put("type", str("number"))
	out.put("type", str("object"))
	out.put("additionalProperties", &node{kind: truth, text: "false"})
	out.put("required", &node{kind: array, items: []*node{str(name), str("elapsed_s")}})
	properties := &node{kind: object}
	properties.put(name, first)
	properties.put("elapsed_s", seconds)
	out.put("properties", properties)
}
