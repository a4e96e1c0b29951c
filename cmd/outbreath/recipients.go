package main

import (
	"cmp"
	"time"

	"outbreath/keys"
)

// soon is how long before a recipient's last day the warnings begin.
const soon = 30 * 24 * time.Hour

// sayRecipients shows, before anything is encrypted, who will be able to read it.
func sayRecipients(u *ui, list []keys.Trusted) {
	for _, t := range list {
		u.say("sealed for %s: %s, %s", cmp.Or(t.Name, "a recipient without a name"), t.Type, t.Fingerprint)
		if t.Compared == "" {
			u.say("  caution: nobody has compared this key with its owner by telephone; run keys trust again " +
				"at a terminal")
		}
		if day, err := time.Parse(time.DateOnly, t.Expires); err == nil && day.Sub(now()) < soon {
			u.say("  caution: it expires on %s; ask for its successor", t.Expires)
		}
	}
}
