package sessionlog

import (
	"io/fs"
	"slices"
	"strconv"
)

// An Unread is something in the sampler's folder that is not read.
type Unread struct {
	Name string
	Why  string // what it is, and what to do if recordings are in it; "" if it can hold none
}

// kinds are files in which recordings are sometimes handed on, by their endings.
var kinds = []struct {
	endings []string
	why     string
}{
	{[]string{".zip", ".7z", ".rar", ".gz", ".tgz", ".tar", ".bz2", ".xz", ".zst"},
		"is an archive, and what is in it is not looked at: unpack it into this folder, then move it away"},
	{[]string{".xlsx", ".xls", ".xlsm", ".ods"},
		"is a workbook, and recordings are read from text tables and EDF alone: export it again as CSV or " +
			"EDF, or save " +
			"its sheet as CSV, then move it away"},
}

// notRead says why a file of this type and ending is not read.
func notRead(mode fs.FileMode, ending string) string {
	switch {
	case mode.IsDir():
		return "is a folder, and what is in it is not looked at: move the recordings out of it into this one, then " +
			"move it away"
	case !mode.IsRegular():
		return "is no plain file, such as a link, and is not followed: copy the recording itself to this place"
	}
	for _, k := range kinds {
		if slices.Contains(k.endings, ending) {
			return k.why
		}
	}
	return ""
}

// perhapsUnread objects to what may hold the recording of a session that has none.
func (k *Recordings) perhapsUnread(visits []Visit) {
	if len(k.Without) == 0 {
		return
	}
	missing := slices.DeleteFunc(slices.Clone(visits), func(v Visit) bool {
		return !slices.Contains(k.Without,
			v.Where)
	})
	k.Unread = slices.DeleteFunc(k.Unread, func(u Unread) bool {
		for i := range missing {
			if u.Why != "" && byName(u.Name, &missing[i]) == exactly {
				k.problem(u.Name, u.Why+"; by its name it is the recording of "+missing[i].Where+", which has no other")
				return true
			}
		}
		if u.Why != "" {
			k.problem(u.Name, u.Why+"; "+counted(len(missing))+" without a recording")
		}
		return u.Why != ""
	})
}

func counted(sessions int) string {
	if sessions == 1 {
		return "one session is"
	}
	return strconv.Itoa(sessions) + " sessions are"
}
