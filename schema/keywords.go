package schema

import (
	"regexp"
	"slices"
	"strconv"
	"strings"
)

const draft2020 = "https://json-schema.org/draft/2020-12/schema"

// A use is the set of places in a schema where a keyword may be.
type use uint16

const (
	onString use = 1 << iota
	onNumber
	onOther // boolean and null
	onObject
	onArray
	onRoot  // also at the top of the schema
	ours    // our own annotation: in a plan only
	shipped // our own annotation that the schema in a shipment has too
	silent  // no statement about the record; never copied into another schema
)

const (
	onLeaf = onString | onNumber | onOther
	onAny  = onLeaf | onObject | onArray
)

// keywords are the keywords that a schema may use. All others are refused, so that a misspelt
// keyword cannot pass as an annotation and leave a field unchecked.
//
// Source: JSON Schema 2020-12, Core and Validation.
var keywords = map[string]struct {
	use   use
	check func(*Node) string // what the value must be, or "" if it is that
}{
	"$schema":              {onRoot | silent, isDraft},
	"$id":                  {onRoot | silent, isText},
	"$defs":                {onRoot | silent, isObject},
	"$comment":             {onAny | silent, isText},
	"title":                {onAny, isText},
	"description":          {onAny, isText},
	"default":              {onAny | silent, nil},
	"examples":             {onAny | silent, nil},
	"deprecated":           {onAny | silent, isBool},
	"type":                 {onAny, nil}, // read by typesOf
	"properties":           {onObject, isObject},
	"required":             {onObject, isNames},
	"additionalProperties": {onObject, isBool},
	"items":                {onArray, isObject},
	"minItems":             {onArray, isCount},
	"maxItems":             {onArray, isCount},
	"uniqueItems":          {onArray, isBool},
	"enum":                 {onLeaf, isScalars},
	"const":                {onLeaf, isScalar},
	"minLength":            {onString, isCount},
	"maxLength":            {onString, isCount},
	"pattern":              {onString, isPattern},
	"format":               {onString, isFormat},
	"minimum":              {onNumber, isNumber},
	"maximum":              {onNumber, isNumber},
	"exclusiveMinimum":     {onNumber, isNumber},
	"exclusiveMaximum":     {onNumber, isNumber},
	"multipleOf":           {onNumber, isPositive},
	"deid":                 {onLeaf | ours, nil}, // read by parseTreatment
	"risk":                 {onLeaf | ours, isRisk},
	"why":                  {onLeaf | ours, isSentence},
	"columns":              {onLeaf | ours | shipped, nil}, // read by parseColumns
	"digits":               {onNumber | ours, isDigits},
	"decimals":             {onNumber | ours, isDigits},
}

// unsupported lists keywords of the draft that are refused. What some of them accept depends on
// what others have seen, which a reader of the plan, and our proof, could miss. The library
// evaluates some of them wrongly.
var unsupported = []string{
	"allOf", "not", "if", "then", "else", "dependentSchemas", "dependentRequired",
	"patternProperties", "propertyNames", "unevaluatedProperties", "unevaluatedItems",
	"minProperties", "maxProperties", "prefixItems", "contains", "minContains", "maxContains",
	"$dynamicRef", "$dynamicAnchor", "$anchor", "$vocabulary", "$recursiveRef", "$recursiveAnchor", "definitions",
	"contentEncoding", "contentMediaType", "contentSchema", "readOnly", "writeOnly", "dependencies", "additionalItems",
}

// lint checks one keyword of a schema for values of the kinds in on. root is set at the top of the
// schema, plan if it is a plan. The message is "" if the keyword is valid.
func lint(name string, value *Node, on use, root, plan bool) string {
	k, known := keywords[name]
	switch {
	case name == "allOf":
		return `the keyword "allOf" is not supported here: write its parts together as one schema, because none of ` +
			`them could name all fields of the object`
	case slices.Contains(unsupported, name):
		return `the keyword "` + name + `" is not supported here: say what is meant by "properties", "items", ` +
			`"type", "oneOf" and limits`
	case !known || k.use&ours != 0 && k.use&shipped == 0 && !plan:
		return "the keyword " + odd(name) + " is not known here: remove it or correct its spelling"
	case k.use&on == 0 && !(root && k.use&onRoot != 0):
		return `the keyword "` + name + `" does not fit here: it belongs to another "type" or place`
	case k.check == nil:
		return ""
	}
	if want := k.check(value); want != "" {
		return `the value of "` + name + `" must be ` + want
	}
	return ""
}

func isText(n *Node) string   { return unless(n.Kind == String, "a text") }
func isBool(n *Node) string   { return unless(n.Kind == Bool, "true or false") }
func isObject(n *Node) string { return unless(n.Kind == Object, "an object") }
func isNumber(n *Node) string { return unless(n.Kind == Number, "a number") }
func isDraft(n *Node) string {
	return unless(strings.TrimSuffix(n.text(), "#") == draft2020, `"`+draft2020+`"`)
}
func isRisk(n *Node) string {
	return unless(n.text() == "quasi" || n.text() == "sensitive", `"quasi" or "sensitive"`)
}
func isSentence(n *Node) string {
	return unless(n.text() != "" && len(n.Text) <= 500 && !strings.ContainsFunc(n.Text, isControl),
		"one sentence of at most 500 bytes, without line breaks")
}

func isPositive(n *Node) string {
	digits, _, _ := strings.Cut(strings.ToLower(n.Text), "e")
	return unless(n.Kind == Number && n.Text[0] != '-' && strings.ContainsAny(digits, "123456789"),
		"a number greater than 0")
}

func isCount(n *Node) string {
	i, err := strconv.Atoi(n.Text)
	return unless(n.Kind == Number && err == nil && 0 <= i && i <= maxJSONBytes, "a whole number from 0 to 16777216")
}

func isDigits(n *Node) string {
	i, err := strconv.Atoi(n.Text)
	return unless(n.Kind == Number && err == nil && 1 <= i && i <= mostDigits, "a whole number from 1 to 17")
}

func isScalar(n *Node) string {
	return unless(n.Kind != Object && n.Kind != Array, "a text, a number, true, false or null")
}

func isScalars(n *Node) string {
	ok := n.Kind == Array && len(n.Items) > 0 // the library lets everything pass an empty list
	for _, item := range n.Items {
		ok = ok && isScalar(item) == ""
	}
	return unless(ok, "a list of at least one text, number, true, false or null")
}

func isNames(n *Node) string {
	ok := n.Kind == Array
	seen := make(map[string]bool)
	for _, item := range n.Items {
		ok = ok && item.Kind == String && !seen[item.Text]
		seen[item.Text] = true
	}
	return unless(ok, "a list of different field names")
}

// isPattern bounds the program that Go's RE2 makes from a pattern. The regexp package itself
// refuses nested repetitions beyond 1,000.
func isPattern(n *Node) string {
	if n.Kind != String || len(n.Text) > 500 {
		return "a regular expression of at most 500 bytes"
	}
	if n := patternSteps(n.Text); n > maxPatternSteps {
		return "a regular expression of fewer steps: write it without large repetitions"
	}
	_, err := regexp.Compile(n.Text)
	return unless(err == nil, "a regular expression as RE2 knows them: no look-ahead, no back-reference")
}

func isFormat(n *Node) string {
	_, ok := formats[n.text()]
	return unless(ok, `"date", "date-time" or "time"`)
}

func unless(ok bool, want string) string {
	if ok {
		return ""
	}
	return want
}

func isControl(r rune) bool { return r < 0x20 || r >= 0x7f && r <= 0x9f || r == 0x2028 || r == 0x2029 }

// plain returns a name or pointer unchanged if it reads well, otherwise quoted.
func plain(s string) string {
	if len(s) > 80 || s == "" || strings.ContainsFunc(s, func(r rune) bool { return r <= ' ' || r > '~' || r == '"' }) {
		return odd(s)
	}
	return s
}

// odd quotes a name from a schema or the folder for a message, and shortens it to 80 bytes.
func odd(name string) string {
	if len(name) > 80 {
		name = strings.ToValidUTF8(name[:80], "") + "..."
	}
	return strconv.Quote(name)
}
