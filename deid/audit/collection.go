package audit

import (
	"cmp"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"

	"outbreath/deid"
	"outbreath/deid/leak"
	"outbreath/schema"
)

// OfCollection reads the files that would leave a collection, and sets the fields of in
// that only the site knows. If cleared is nil, it reads the draft's records with the
// decisions of dec applied, and no recordings. progress may be nil; it counts bytes.
func OfCollection(c *schema.Collection, d *deid.Draft, cleared *deid.Cleared, dec *leak.Decisions,
	findings []leak.Finding, in *Input, progress func(done, total int64)) (*Output, error) {
	in.FromSite(c, d, findings)
	var files []deid.File
	var err error
	if cleared != nil {
		files = cleared.Files()
	} else if files, err = d.Preview(dec); err != nil {
		return nil, err
	}
	slices.SortFunc(files, func(a, b deid.File) int { return cmp.Compare(a.Name, b.Name) })
	o := &Output{Words: NewWords(in.Roster)}
	var done, total int64
	for _, f := range files {
		total += max(f.Size, 0)
	}
	for _, f := range files {
		if err := o.file(f); err != nil {
			return nil, err
		}
		if done += max(f.Size, 0); progress != nil {
			progress(done, total)
		}
	}
	return o, nil
}

// FromSite sets what only the site knows of what leaves: the records behind it, whose they
// are, and where findings were kept or are open. The draft must be of the key under which
// it leaves.
func (in *Input) FromSite(c *schema.Collection, d *deid.Draft, findings []leak.Finding) {
	in.Study, in.Site, in.HoldingDays = c.Study.Study, c.Study.Site, c.Study.HoldingDays
	if in.Roster == nil {
		in.Roster = c.Roster
	}
	in.Source, in.SubjectOf = map[string]*schema.Session{}, map[string]string{}
	leaves := map[string]string{}
	for _, o := range d.Origins(c) {
		in.Source[o.Session], in.SubjectOf[o.Subject] = o.Source, o.Source.Subject
		leaves[o.Source.File] = "sessions/" + o.Session + ".json"
		for _, r := range o.Source.Recordings {
			i, _ := strconv.Atoi(strings.Split(r.Pointer+"//", "/")[2])
			leaves[r.File] = fmt.Sprintf("recordings/%s-%d.%s", o.Session, i+1, r.Format)
		}
	}
	in.Kept, in.Open = map[string]bool{}, map[string]leak.Class{}
	for _, f := range findings {
		switch where := leaves[f.File] + " " + f.Pointer; {
		case f.Decision == "keep":
			in.Kept[where] = true
		case f.Open():
			in.Open[where] = f.Class
		}
	}
}

// file adds one payload file, read to its end: only then is a recording fully checked.
func (o *Output) file(f deid.File) error {
	r, err := f.Open()
	if err != nil {
		return err
	}
	defer r.Close()
	if err := o.Add(f.Name, r); err != nil {
		return err
	}
	_, err = io.Copy(io.Discard, r)
	o.Files = append(o.Files, Entry{Name: f.Name, Size: f.Size})
	return err
}

// identity returns the canonical form of a subject id, which is the same for all
// spellings of one person's id. It returns id itself if there is no such form.
func identity(id string) string {
	if canonical, err := schema.Canonical(id); err == nil {
		return canonical
	}
	return id
}

// Ages returns the number of subjects by age in whole years at their first session;
// 90 stands for all ages from 90. It is nil if the birth dates are not available.
func Ages(in *Input) map[int]int {
	if len(in.Source) == 0 {
		return nil
	}
	age := map[string]int{}
	for _, s := range in.Source {
		if born, ok := civil(s.BirthDate); ok {
			n := min(90, yearsBetween(born, s.Started))
			who := identity(s.Subject)
			if old, ok := age[who]; !ok || n < old {
				age[who] = n
			}
		}
	}
	count := map[int]int{}
	for _, n := range age {
		count[n]++
	}
	return count
}
