package main

import (
	"bytes"
	"html/template"
	"path/filepath"
	"slices"

	"outbreath/keys"
	"outbreath/pack/durable"
)

// keepFile is the name of the page in a key folder that says what to keep where.
const keepFile = "what-to-keep-where.html"

var keepPage = template.Must(template.New("keep.html.tmpl").ParseFS(pages, "html/keep.html.tmpl"))

// A keepRow is one thing to keep.
type keepRow struct{ What, Where, Lost, Seen string }

// keepRows is what each side has to keep. DEVELOPERS.md describes the same for
// contributors under "Threats, in short".
var keepRows = map[keys.Role][]keepRow{
	keys.Site: {
		{"the key folder (pseudonym.key, signing)", "on the site's own computer, never on the medium, never next " +
			"to the collection", "put back the copy", "whoever also knows subject ids can re-identify all: tell " +
			"the privacy officer at once, then keys rotate"},
		{"a copy of pseudonym.key, or its shares (keys split)", "in a safe at another place, or with custodians who " +
			"do not work together", "make another copy now: without the key no pseudonym can ever be traced back " +
			"or made again", "as above"},
		{"the passphrase, on paper", "apart from the computer and from the copy", "as if the keys were lost",
			"if the folder may have been copied too, as if the keys had been seen"},
		{"custody.jsonl in each collection", "with the collection, backed up", "what left the site, and who " +
			"withdrew, is no longer known", "it holds pseudonyms and times, no names"},
	},
	keys.Lab: {
		{"the key folder (identity, signing)", "on the intake computer, or on one that only intake uses",
			"put back the copy; without one, shipments cannot be opened: make new keys, and ask the sites to seal again",
			"everything ever sealed to it can be read by whoever has the media: make new keys, and tell every site " +
				"to replace the old ones"},
		{"a copy of the identity", "in a safe at another place", "make another copy now", "as above"},
		{"the passphrase, on paper", "apart from the computer and from the copy", "as if the keys were lost",
			"if the folder may have been copied too, as if the keys had been seen"},
	},
}

// writeKeepSheet writes the page into the key folder and returns its path. The page holds
// no secret.
func writeKeepSheet(f *keys.Folder) (string, error) {
	own, _, err := f.Public()
	if err != nil {
		return "", err
	}
	type numbered struct {
		Number int
		Word   string
	}
	var words []numbered
	for i, w := range keys.SpokenWords(own) {
		words = append(words, numbered{i + 1, w})
	}
	var page bytes.Buffer
	err = keepPage.Execute(&page, map[string]any{"Role": f.Role(), "Name": f.Name(), "Own": own,
		"Words": slices.Collect(slices.Chunk(words, 4)), "Rows": keepRows[f.Role()],
		"Made": now().Format("2006-01-02")})
	if err != nil {
		return "", err
	}
	path := filepath.Join(f.Dir(), keepFile)
	root, name, err := outputFolder(path)
	if err != nil {
		return "", err
	}
	defer root.Close()
	if err := durable.Replace(root, name, page.Bytes(), 0o600); err != nil {
		return "", notWritten(path, err)
	}
	return path, nil
}
