package schema

import (
	"fmt"
	"sync"
)

// exampleFile is the record that [Begin] lays out to be copied.
const exampleFile = "session-to-copy.json"

// leftovers are the fields whose value in the example a real session has by mistake, or
// hardly otherwise. Values that may well be true, such as op-1, 170 cm or 500 mL, are not
// among them.
var leftovers = map[string]Severity{
	"/notes":                Error,
	"/interruptions/*/note": Error,
	"/tubes/*/barcode":      Error,
	"/started_at":           Warning,
	"/ended_at":             Warning,
	"/tubes/*/uncapped_at":  Warning,
	"/tubes/*/capped_at":    Warning,
	"/interruptions/*/at":   Warning,
	"/subject/postal_code":  Warning,
	"/kit/lot":              Warning,
	"/sampler/serial":       Warning,
}

// examples returns the texts of the example by the paths of leftovers.
var examples = sync.OnceValue(func() map[string]map[string]bool {
	data, err := beginFiles.ReadFile("begin/" + exampleFile)
	if err != nil {
		panic(err) // it is part of the program
	}
	n, err := ParseJSON(data)
	if err != nil {
		panic(err)
	}
	found := make(map[string]map[string]bool)
	for path := range leftovers {
		found[path] = make(map[string]bool)
	}
	n.Walk(func(at Place, n *Node) bool {
		if texts := found[at.Path]; texts != nil {
			texts[n.Text] = true
		}
		return true
	})
	return found
})

// copied reports values that were left when the example was filled in. A record with both
// times of the example was not filled in at all.
func copied(q *queries) {
	all := examples()
	is := func(pointer string) bool { return all[pointer][q.node.At(pointer).text()] }
	untouched := is("/started_at") && is("/ended_at")
	q.node.Walk(func(at Place, n *Node) bool {
		if n.Kind != String || !all[at.Path][n.Text] {
			return true
		}
		weight := leftovers[at.Path]
		if untouched && (at.Path == "/started_at" || at.Path == "/ended_at") {
			weight = Error
		}
		q.add(at.Pointer(), "record.example", weight, fmt.Sprintf("this is still the value of %s: write what is true "+
			"of this session, or take the field out if the plan lets it be missing", exampleFile))
		return true
	})
}
