package sessionlog

import (
	"fmt"
	"maps"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

	"outbreath/schema"
	"outbreath/schema/sheet"
)

// A reader reads one log.
type reader struct {
	in    Inputs
	form  *schema.Outline // of the plan's records
	set   *Settings
	heads *heads
	out   *Reading
	zone  *time.Location

	asked     map[string]*question
	halted    bool            // tables are not in order: values are not read
	missing   map[string]bool // tables of lists of which that was said
	questions []*question
	skipped   map[rowOf]bool // rows that are no entries

	sources  []*source
	sessions []*session
	byID     map[string]*session // by canonical session_id

	orphans map[string]*orphan // by canonical number
	lost    []*orphan          // the same in the order of the log
	astray  map[string]bool    // paths of the lists that they are in
}

type rowOf struct {
	s   *source
	row int
}

// Read makes records of the tables of a log. s is what was said before; it is not
// changed. Everything that is wrong or unclear is in the result: a log that cannot be
// read at all has a Problem.
func Read(tables []sheet.Table, in Inputs, s *Settings) *Reading {
	if s == nil {
		s = &Settings{}
	}
	r := &reader{in: in, form: in.Plan.Outline(), set: s, heads: newHeads(in.Plan), out: &Reading{
		Recordings: map[string]bool{}},
		asked: map[string]*question{}, skipped: map[rowOf]bool{}, byID: map[string]*session{},
		orphans: map[string]*orphan{}, astray: map[string]bool{}}
	r.gather(tables)
	if r.halted {
		r.out.Doubts = r.doubts()
		return r.out
	}
	for _, src := range r.sources { // the roster first: it settles zeros in front and births
		if src.sheet == RosterSheet {
			r.roster(src)
		}
	}
	for _, src := range r.sources {
		if src.sheet == SessionsSheet {
			r.table(src)
		}
	}
	for _, src := range r.sources {
		if r.heads.lists[src.sheet] != "" {
			r.table(src)
		}
	}
	r.adrift()
	for _, src := range r.sources {
		for _, c := range src.cols {
			c.understood(r, "")
		}
	}
	r.finish()
	r.out.Doubts = r.doubts()
	return r.out
}

// gather finds the tables that are part of the log.
func (r *reader) gather(tables []sheet.Table) {
	files := map[string]int{}
	for i := range tables {
		files[tables[i].File]++
	}
	var unread []*sheet.Table
	for i := range tables {
		t := &tables[i]
		if !t.Text && strings.EqualFold(t.Name, ExplainedSheet) {
			continue
		}
		src := r.find(t, len(files) == 1)
		if src == nil {
			unread = append(unread, t)
			continue
		}
		if !r.wanted(src) {
			continue
		}
		r.sources = append(r.sources, src)
	}
	r.onlyOnce()
	unread = r.nameless(unread, len(files) == 1)
	if !r.halted && !slices.ContainsFunc(r.sources, func(s *source) bool { return s.sheet == SessionsSheet }) {
		unread = r.unknownLog(unread)
	}
	for _, t := range unread {
		src := &source{Table: t, alone: len(files) == 1}
		r.out.Understood = append(r.out.Understood, Understood{Where: src.name(), Table: src.name(),
			How: "not read: no row of headings that are known was found"})
	}
	for _, src := range r.sources {
		how := "holds " + src.sheet
		if len(src.Notes) > 0 {
			how += "; " + strings.Join(src.Notes, ", ")
		}
		r.out.Understood = append(r.out.Understood, Understood{Where: src.name(), Table: src.name(), How: how})
		r.rows(src)
		r.labels(src)
		r.strays(src)
		even := r.lengths(src) && r.beyond(src)
		r.columns(src)
		if !even || !r.shifted(src) {
			r.halted = true
		}
		if src.sheet == SessionsSheet && !slices.ContainsFunc(src.rows, func(row int) bool {
			return src.filled(row) > 0
		}) {
			r.problem(src.name(), sessionField, "there is no session in it yet, only headings: fill in a row for each "+
				"session, or give the log that has them")
		}
	}
}

// unknownLog takes the first table that looks as if it had headings as that of sessions,
// so that each of them is asked about.
func (r *reader) unknownLog(unread []*sheet.Table) []*sheet.Table {
	for i, t := range unread {
		if len(r.sources) == 0 && len(t.Rows) > 1 && looksLikeHeadings(t.Rows[0]) {
			src := &source{Table: t, sheet: SessionsSheet, alone: len(unread) == 1}
			for row := 1; row < len(t.Rows); row++ {
				src.rows = append(src.rows, row)
			}
			r.sources = append(r.sources, src)
			return slices.Delete(slices.Clone(unread), i, i+1)
		}
	}
	r.problem("the log", sessionField, "no table of sessions was found: its first row must name the columns, one "+
		"of them "+
		"session id")
	return unread
}

// wanted asks whether a hidden sheet is part of the log.
func (r *reader) wanted(s *source) bool {
	if !s.Hidden {
		return true
	}
	key := id("hidden", "sheet", s.Name)
	switch r.set.Answers[key] {
	case "read":
		return true
	case "leave":
		r.out.Understood = append(r.out.Understood, Understood{Where: s.name(), Table: s.name(),
			How: "hidden, not read, as was said"})
		return false
	}
	r.doubt(Doubt{ID: key, Where: s.name(), Question: "this sheet is hidden: is it part of the log?",
		Choices: hiddenChoices}, "")
	return false
}

var hiddenChoices = []Choice{{"read", "yes: read it"}, {"leave", "no: leave it out"}}

// rows sets aside what is no entry: headings that are repeated, and hidden rows that a
// person has excluded.
func (r *reader) rows(s *source) {
	head := s.Rows[s.head].Cells
	key := id("hidden", "rows", s.sheet, s.Name)
	hidden := 0
	for _, i := range s.rows {
		row := s.Rows[i]
		same := 0
		for col, c := range row.Cells {
			if c.Kind == sheet.Text && col < len(head) && head[col].Text == c.Text {
				same++
			}
		}
		switch {
		case same > 1 && same*2 > filled(row):
			r.skipped[rowOf{s, i}] = true
		case row.Hidden && r.set.Answers[key] == "":
			hidden++
			r.doubt(Doubt{ID: key, Question: "these rows are hidden, perhaps by a filter: are they part of the log?",
				Choices: hiddenChoices}, s.ref(i, 0))
			r.skipped[rowOf{s, i}] = true
		case row.Hidden && r.set.Answers[key] == "leave":
			r.skipped[rowOf{s, i}] = true
		}
	}
	r.struck(s)
}

func filled(row sheet.Row) int {
	n := 0
	for _, c := range row.Cells {
		if c.Kind != sheet.Empty {
			n++
		}
	}
	return n
}

// rosterRows returns the rows of the log's roster, else those of roster.csv.
func (r *reader) rosterRows() []map[string]string {
	switch {
	case r.out.Roster != nil:
		return r.out.Roster.Rows
	case r.in.Roster != nil:
		return r.in.Roster.Rows
	}
	return nil
}

// A session is a record in the making.
type session struct {
	*Record
	src     *source
	row     int
	own     map[string]value   // by field
	lists   map[string][]entry // by list
	counted int                // rows that brought it
	from    map[string]rowOf   // the row of each entry, by its pointer
}

// An entry is one of a list: its values by field, and the day of its row.
type entry struct {
	at     string
	from   rowOf
	values map[string]value
	day    value
}

// table reads a table of sessions or of a list, row by row.
func (r *reader) table(s *source) {
	if !slices.ContainsFunc(s.rows, func(row int) bool { return !r.skipped[rowOf{s, row}] }) {
		return
	}
	read := make(map[*column][]value, len(s.cols))
	var key *column
	for _, c := range s.cols {
		read[c] = r.read(c)
		if c.column.Field == sessionField {
			key = c
		}
	}
	if key == nil {
		r.problem(s.name(), sessionField, "no column gives the numbers of the sessions: add one with the heading "+
			"session id")
		return
	}
	r.carry(s, key, read[key])
	for c, days := range read {
		if c.column.Field == DateField {
			r.carry(s, c, days)
		}
	}
	for i, row := range s.rows {
		if r.skipped[rowOf{s, row}] {
			continue
		}
		values := map[*column]value{}
		for c, column := range read {
			if v := column[i]; !v.empty() || v.bad {
				values[c] = v
			}
		}
		r.row(s, key, row, values)
	}
}

// carry copies the session's number, or date, down where its cell is merged with those below.
func (r *reader) carry(s *source, key *column, ids []value) {
	for _, m := range s.Merged {
		left, top, right, bottom, ok := mergedRange(m)
		if !ok || key.col < left || key.col > right || bottom == top {
			continue
		}
		var first *value
		for i, row := range s.rows {
			switch n := s.Rows[row].Number; {
			case n == top:
				first = &ids[i]
			case n > top && n <= bottom && first != nil && ids[i].empty():
				ids[i] = *first
			}
		}
	}
}

// row adds what one row says to its session.
func (r *reader) row(s *source, key *column, row int, values map[*column]value) {
	at := s.ref(row, key.col)
	id := values[key]
	if len(values) == 0 {
		return
	}
	if id.node == nil {
		if !id.bad {
			r.problem(at, sessionField, "the row has values but no number of a session: write it here, or clear "+
				"the row")
		}
		return
	}
	canonical, err := schema.Canonical(id.node.Text)
	if err != nil {
		r.problem(at, sessionField, "this cannot be the number of a session: "+err.Error())
		return
	}
	current := r.byID[canonical]
	switch {
	case current == nil && s.sheet != SessionsSheet:
		r.orphaned(s, canonical, id.node.Text, at)
		return
	case current == nil:
		current = &session{Record: &Record{ID: id.node.Text, Where: at}, src: s, row: row, own: map[string]value{},
			lists: map[string][]entry{}, from: map[string]rowOf{}}
		r.byID[canonical] = current
		r.sessions = append(r.sessions, current)
	}
	before := current.counted
	current.counted++
	if before > 0 && s.sheet == SessionsSheet && !sameWriting(id.node.Text, current.ID) &&
		r.contradict(s, current, values) {
		r.problem(at, sessionField, folded(current.Where))
		return
	}
	added := r.entries(s, current, row, at, values)
	if s.sheet != SessionsSheet {
		return
	}
	if before > 0 && added == 0 {
		r.problem(at, sessionField, fmt.Sprintf("this session is in the log twice (first at %s): give each session "+
			"its own "+
			"number, or remove one of the rows", current.Where))
		return
	}
	for _, c := range s.cols {
		v, ok := values[c]
		if !ok || c.column.List != "" {
			continue
		}
		old, twice := current.own[c.column.Field]
		if twice && !old.same(v) && c.column.Field != sessionField {
			r.problem(v.at, c.column.Field, fmt.Sprintf("this differs from what %s says of the same session: "+
				"correct one of "+
				"the two", old.at))
			continue
		}
		if !twice {
			current.own[c.column.Field] = v
		}
	}
}

// contradict reports whether a row says something else of a session than the rows before.
func (r *reader) contradict(s *source, current *session, values map[*column]value) bool {
	return slices.ContainsFunc(s.cols, func(c *column) bool {
		v, ok := values[c]
		old, twice := current.own[c.column.Field]
		return ok && twice && c.column.List == "" && c.column.Field != sessionField && !old.same(v)
	})
}

func (v value) same(o value) bool {
	if v.bad || o.bad {
		return true // said already
	}
	if (v.node == nil) != (o.node == nil) || v.node != nil && v.node.Text != o.node.Text {
		return false
	}
	return v.hasDay == o.hasDay && v.day == o.day && v.hasHm == o.hasHm && v.clock == o.clock && v.exact == o.exact
}

// A slot is one entry of a list in a session's own row.
type slot struct{ list, entry string }

// share gives what a row says of a list without naming an entry to all of its entries that
// are named, and reports whether there are any.
func (s *source) share(k slot, found map[slot]entry) bool {
	shared := false
	for o := range found {
		if o.list != k.list || o.entry == "" {
			continue
		}
		shared = true
		for field, v := range found[k].values {
			if _, own := found[o].values[field]; !own {
				found[o].values[field] = v
			}
		}
	}
	for _, c := range s.cols {
		if shared && c.column.List == k.list && c.entry == "" {
			c.say("for every entry of its row")
		}
	}
	return shared
}

// entries adds the entries of lists that a row holds, in the order of what tells them
// apart in the headings, and returns how many they were.
func (r *reader) entries(s *source, to *session, row int, at string, values map[*column]value) int {
	found := map[slot]entry{}
	for _, c := range s.cols {
		v, ok := values[c]
		if !ok || c.column.List == "" {
			continue
		}
		k := slot{c.column.List, c.entry}
		if found[k].values == nil {
			found[k] = entry{at: at, from: rowOf{s, row}, values: map[string]value{}}
		}
		found[k].values[c.column.Field] = v
	}
	var order []slot
	for k := range found {
		order = append(order, k)
	}
	order = slices.DeleteFunc(order, func(k slot) bool { return k.entry == "" && s.share(k, found) })
	slices.SortFunc(order, func(a, b slot) int {
		if a.list != b.list {
			return strings.Compare(a.list, b.list)
		}
		x, errX := strconv.Atoi(a.entry)
		y, errY := strconv.Atoi(b.entry)
		if errX == nil && errY == nil {
			return x - y
		}
		return strings.Compare(a.entry, b.entry)
	})
	for _, k := range order {
		e := found[k]
		if s.sheet != SessionsSheet {
			for c, v := range values {
				if c.column.Field == DateField {
					e.day = v
				}
			}
		}
		position := "/tubes/*/position"
		if _, ok := e.values[position]; !ok && k.entry != "" && strings.HasPrefix(position, k.list) &&
			r.form.Find(position) != nil && !s.has(position) {
			e.values[position] = value{at: at, node: &schema.Node{Kind: schema.String,
				Text: strings.ToUpper(k.entry)}}
			for _, c := range s.cols {
				if c.column.List == k.list && c.entry == k.entry {
					c.say("position " + strings.ToUpper(k.entry) + ", as the heading says")
				}
			}
		}
		to.lists[k.list] = append(to.lists[k.list], e)
	}
	return len(order)
}

// has reports whether a source has a column of a field.
func (s *source) has(field string) bool {
	return slices.ContainsFunc(s.cols, func(c *column) bool { return c.column.Field == field })
}

// finish makes the records: times get their day and zone, the values their pointers, and
// the plan judges the whole.
func (r *reader) finish() {
	outline := r.form
	r.fromRoster(outline)
	r.emptyDates()
	r.nights()
	for _, s := range r.sessions {
		s.Values, s.Places = map[string]*schema.Node{}, map[string]string{}
		s.put("/study", &schema.Node{Kind: schema.String, Text: r.in.Study.Study}, "study.json")
		s.put("/site", &schema.Node{Kind: schema.String, Text: r.in.Study.Site}, "study.json")
		r.twoDays(s)
		t := r.clockOf(s)
		for _, field := range slices.Sorted(maps.Keys(s.own)) {
			v := s.own[field]
			if o := outline.Find(field); o != nil && o.Leaf != nil {
				r.put(s, field, o.Leaf, v, t, value{})
			}
		}
		for _, list := range slices.Sorted(maps.Keys(s.lists)) {
			for i, e := range s.lists[list] {
				pointer := strings.Replace(list, "*", strconv.Itoa(i), 1)
				s.from[pointer] = e.from
				for _, field := range slices.Sorted(maps.Keys(e.values)) {
					v := e.values[field]
					if o := outline.Find(field); o != nil && o.Leaf != nil {
						r.put(s, strings.Replace(field, list, pointer, 1), o.Leaf, v, t, e.day)
					}
				}
				r.blanks(s, outline.Find(list), pointer, e.at)
			}
		}
		r.files(s, outline)
		r.judge(s, outline)
		r.out.Records = append(r.out.Records, s.Record)
	}
}

func (r *Record) put(pointer string, n *schema.Node, at string) {
	r.Values[pointer], r.Places[pointer] = n, at
}

// put adds one value to a record.
func (r *reader) put(s *session, pointer string, leaf *schema.Leaf, v value, t sessionClock, own value) {
	switch {
	case v.bad:
		s.Places[pointer] = v.at // so that it is not missed once more
	case v.node != nil:
		s.put(pointer, v.node, v.at)
	case v.hasDay || v.hasHm || v.exact != "":
		if text := r.moment(pointer, leaf, v, t, own); text != "" {
			at := v.at
			if date := s.own[DateField]; pointer == "/started_at" && v.exact == "" && !v.hasDay && date.hasDay {
				at = cells([]string{date.at, v.at}) // either may be wrong
			}
			s.put(pointer, &schema.Node{Kind: schema.String, Text: text}, at)
		} else {
			s.Places[pointer] = v.at
		}
	}
}

// blanks gives an entry those free texts that the plan requires and that may be empty.
func (r *reader) blanks(s *session, item *schema.Outline, pointer, at string) {
	if item == nil {
		return
	}
	for _, m := range item.Members {
		l := m.Leaf
		if l == nil || !m.Required || l.Treatment.Kind != schema.Text || l.MinLength > 0 || len(l.Patterns) > 0 {
			continue
		}
		if to := pointer + "/" + m.Name; s.Values[to] == nil && s.Places[to] == "" && item.Path != "/recordings/*" {
			s.put(to, &schema.Node{Kind: schema.String, Text: ""}, at)
		}
	}
}

// files completes the recordings that the log names.
func (r *reader) files(s *session, outline *schema.Outline) {
	if outline.Find("/recordings/*/file") == nil {
		return
	}
	for i := 0; ; i++ {
		pointer := "/recordings/" + strconv.Itoa(i)
		file := s.Values[pointer+"/file"]
		if file == nil {
			break
		}
		r.out.Recordings[s.ID] = true
		ext := strings.TrimPrefix(strings.ToLower(filepath.Ext(file.Text)), ".")
		if s.Values[pointer+"/format"] == nil && (ext == "csv" || ext == "edf") {
			s.put(pointer+"/format", &schema.Node{Kind: schema.String, Text: ext}, s.Places[pointer+"/file"])
		}
	}
}

// fromRoster takes birth date and sex from the roster where the log has no column of them.
func (r *reader) fromRoster(outline *schema.Outline) {
	rows := map[string]map[string]string{}
	for _, row := range r.rosterRows() {
		if id, err := schema.Canonical(row["subject_id"]); err == nil {
			rows[id] = row
		}
	}
	for _, name := range []string{"birth_date", "sex"} {
		field := "/subject/" + name
		o := outline.Find(field)
		if o == nil || o.Leaf == nil || len(rows) == 0 || slices.ContainsFunc(r.sources, func(s *source) bool {
			return s.sheet == SessionsSheet && s.has(field)
		}) {
			continue
		}
		used := 0
		for _, s := range r.sessions {
			id := s.own["/subject/subject_id"].node
			if id == nil {
				continue
			}
			canonical, _ := schema.Canonical(id.Text)
			text := rows[canonical][name]
			if name == "sex" {
				found := listed(o.Leaf, text)
				if len(found) != 1 {
					continue
				}
				text = found[0]
			}
			if text != "" {
				s.own[field] = value{at: "the roster", node: &schema.Node{Kind: schema.String, Text: text}}
				used++
			}
		}
		if used > 0 {
			r.out.Understood = append(r.out.Understood, Understood{Where: "the roster", Field: field,
				How: "taken from the " +
					"roster, because the log has no column of it; so a wrong subject id does not show by it"})
		}
	}
}

// judge asks the plan about a record, and names the cells of what it does not take.
func (r *reader) judge(s *session, outline *schema.Outline) {
	doc := outline.Record(s.Values)
	for _, p := range r.in.Plan.Validate("", doc) {
		if strings.HasPrefix(p.Pointer, "/recordings") {
			continue // they are completed, and judged, when the files are known
		}
		if len(s.lists[p.Pointer+"/*"]) == 0 && (r.astray[p.Pointer+"/*"] || r.noEntries(p.Pointer)) {
			continue // the numbers that no session has may be this one's
		}
		at, missing := s.Where, p.Rule == "schema.required"
		if place := s.Places[p.Pointer]; place != "" {
			at = place
		} else if place := r.missingAt(s, p.Pointer, memberOf(p.Message)); missing && place != "" {
			at = place
		} else if from, ok := s.from[p.Pointer]; ok {
			at = from.s.ref(from.row, 0)
		}
		if missing && s.reported(p.Pointer, p.Message) {
			continue
		}
		r.problem(at, fieldOf(p.Pointer), "session record: "+p.Message)
	}
}

// reported reports whether the missing field of an object has a cell that was found
// wrong already.
func (s *session) reported(pointer, message string) bool {
	name := memberOf(message)
	if s.Places[pointer+"/"+name] != "" && s.Values[pointer+"/"+name] == nil {
		return true
	}
	for p := range s.Places { // of an object that is missing as a whole
		if strings.HasPrefix(p, pointer+"/"+name+"/") && s.Values[p] == nil {
			return true
		}
	}
	return false
}

// fieldOf turns a pointer into a path: "/tubes/0/barcode" into "/tubes/*/barcode".
func fieldOf(pointer string) string {
	parts := strings.Split(pointer, "/")
	for i, p := range parts {
		if _, err := strconv.Atoi(p); err == nil {
			parts[i] = "*"
		}
	}
	return strings.Join(parts, "/")
}
