package main

import (
	"fmt"
	"strings"
	"time"
)

// A progress shows how far a long step has come: a bar on a terminal, elsewhere a line
// every ten seconds.
type progress struct {
	u       *ui
	what    string
	bar     bool
	start   time.Time
	next    time.Time
	drawn   bool
	lastPct int
	noun    string // "": bytes are counted
}

// countOf makes p count things, named by a singular noun, instead of bytes.
func (p *progress) countOf(noun string) {
	if p != nil {
		p.noun = noun
	}
}

// amount formats n in the unit that p counts.
func (p *progress) amount(n int64) string {
	if p.noun == "" {
		return size(n)
	}
	return count(int(n), p.noun)
}

// progress starts a progress display, or returns nil with --quiet.
func (u *ui) progress(what string) *progress {
	if u.quiet {
		return nil
	}
	now := time.Now()
	p := &progress{u: u, what: what, bar: terminal(u.err), start: now, next: now.Add(10 * time.Second), lastPct: -1}
	if p.bar {
		p.next = now
	}
	return p
}

// update shows that done of total are finished, at most five times a second. A nil progress
// is silent.
func (p *progress) update(done, total int64) {
	if p == nil || total <= 0 {
		return
	}
	now := time.Now()
	if now.Before(p.next) {
		return
	}
	rate := float64(done) / max(now.Sub(p.start).Seconds(), 0.001)
	left := ""
	if done > 0 && done < total && rate > 0 {
		left = ", " + (time.Duration(float64(total-done)/rate) * time.Second).String() + " left"
	}
	pct := int(done * 100 / total)
	if !p.bar {
		p.next = now.Add(10 * time.Second)
		fmt.Fprintf(p.u.err, "%s: %d %% of %s, %s/s%s\n", p.what, pct, p.amount(total), p.amount(int64(rate)), left)
		return
	}
	p.next = now.Add(200 * time.Millisecond)
	const width = 30
	full := min(width, int(done*width/total))
	fmt.Fprintf(p.u.err, "\r%s [%s%s] %3d %% %s/s%s\x1b[K", p.what, strings.Repeat("=", full),
		strings.Repeat(" ", width-full), pct, p.amount(int64(rate)), left)
	p.drawn = true
}

// end clears the bar, so that nothing overwrites what follows.
func (p *progress) end() {
	if p != nil && p.drawn {
		fmt.Fprint(p.u.err, "\r\x1b[K")
		p.drawn = false
	}
}

// size formats n bytes in decimal units, in which media are sold.
func size(n int64) string {
	switch {
	case n >= 1e9:
		return fmt.Sprintf("%.1f GB", float64(n)/1e9)
	case n >= 1e6:
		return fmt.Sprintf("%.1f MB", float64(n)/1e6)
	case n >= 1e3:
		return fmt.Sprintf("%.1f kB", float64(n)/1e3)
	}
	return fmt.Sprintf("%d bytes", n)
}
