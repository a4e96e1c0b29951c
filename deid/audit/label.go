package audit

import "strings"

// Label returns the path of a field in words: "/subject/birth_date" is "birth date", and
// "/medications/*/name" is "medications name". Two fields of a plan may have the same last
// name, so all of the path is in it, apart from the subject's own object.
func Label(path string) string {
	path = strings.TrimPrefix(strings.TrimPrefix(path, "/"), "subject/")
	return strings.NewReplacer("/*", "", "/", " ", "_", " ").Replace(path)
}
