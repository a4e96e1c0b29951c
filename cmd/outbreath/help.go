package main

import (
	"bytes"
	"embed"
	"fmt"
	"io"
	"path"
	"regexp"
	"strings"
	"sync"
	"text/tabwriter"
	"unicode/utf8"

	"github.com/spf13/cobra"
)

// helpWidth is the longest line of help, in characters: the default width of a terminal.
const helpWidth = 80

// The help topics are Markdown, so that a browser can show them too. They use only what
// plain understands, which a test enforces.
//
//go:embed help/*.md
var topicFiles embed.FS

// A topic is one page of help.
type topic struct {
	name  string // as typed: "lost-stick"
	title string // its heading
	text  string // Markdown
}

// topics returns all topics, ordered by name.
func topics() []topic {
	entries, err := topicFiles.ReadDir("help")
	if err != nil {
		panic(err) // embedded
	}
	var all []topic
	for _, e := range entries {
		data, err := topicFiles.ReadFile(path.Join("help", e.Name()))
		if err != nil {
			panic(err) // embedded
		}
		heading, _, _ := strings.Cut(string(data), "\n")
		all = append(all, topic{strings.TrimSuffix(e.Name(), ".md"), strings.TrimPrefix(heading, "# "), string(data)})
	}
	return all
}

func newHelpCmd(u *ui, root *cobra.Command) *cobra.Command {
	return &cobra.Command{
		Use:   "help [COMMAND|TOPIC]",
		Short: "Explain a command or a topic",
		Long: `Explain a command or a topic. Without a name, list both. Where a command and a
topic share a name, the command comes first.
` + statusHelp,
		Example: "  outbreath help seal\n  outbreath help lost-stick",
		Args:    cobra.ArbitraryArgs,
		RunE: func(_ *cobra.Command, args []string) error {
			text, err := helpOn(root, args)
			if err != nil {
				return err
			}
			return u.result(map[string]any{"ok": true, "text": text}, func(w io.Writer) { io.WriteString(w, text) })
		},
	}
}

// helpOn returns the help on the command or topic that args name. If both have that name,
// the command comes first.
func helpOn(root *cobra.Command, args []string) (string, error) {
	var parts []string
	if c, rest, err := root.Find(args); err == nil && len(rest) == 0 {
		text, err := commandHelp(c)
		if err != nil {
			return "", err
		}
		parts = append(parts, text)
	}
	for _, t := range topics() {
		if len(args) == 1 && args[0] == t.name {
			parts = append(parts, plain(t.text))
		}
	}
	if len(parts) == 0 {
		do := near(root, args) + "outbreath help lists the commands and topics"
		return "", usagef(do, "there is no such command or topic")
	}
	return strings.Join(parts, "\n\n"), nil
}

// commandHelp returns what COMMAND --help prints.
func commandHelp(c *cobra.Command) (string, error) {
	var b bytes.Buffer
	out := c.Root().OutOrStdout()
	c.Root().SetOut(&b)
	defer c.Root().SetOut(out)
	c.InitDefaultHelpFlag()
	err := c.Help()
	return b.String(), err
}

// near returns the beginning of a "to do" that suggests commands and topics with names
// similar to what was typed, or "". What was typed is not repeated: it may be anything.
func near(root *cobra.Command, args []string) string {
	names := &cobra.Command{SuggestionsMinimumDistance: 2}
	seen := map[string]bool{}
	add := func(name string) {
		if !seen[name] {
			names.AddCommand(&cobra.Command{Use: name, Run: func(*cobra.Command, []string) {}})
		}
		seen[name] = true
	}
	for _, c := range root.Commands() {
		add(c.Name())
	}
	for _, t := range topics() {
		add(t.name)
	}
	like := names.SuggestionsFor(args[0])
	if args[0] == "" || len(like) == 0 {
		return ""
	}
	return "did you mean " + strings.Join(like, " or ") + "? "
}

// listed returns the lines of a command or a topic in a list.
func listed(name, short string) string {
	return strings.TrimRight(filled(short, fmt.Sprintf("  %-13s", name)), "\n")
}

// nameTemplateFuncs runs once, because the library registers these names for the whole
// process without a lock.
var nameTemplateFuncs = sync.OnceFunc(func() {
	cobra.AddTemplateFunc("listed", listed)
	cobra.AddTemplateFunc("paragraphs", paragraphs)
})

// setTemplates fits the library's layout of help into helpWidth, and lists the topics after
// the commands of the root.
func setTemplates(root *cobra.Command) {
	nameTemplateFuncs()
	list := "{{if not .HasParent}}\n\nTopics, each explained by \"outbreath help TOPIC\":"
	for _, t := range topics() {
		list += "\n" + listed(t.name, t.title)
	}
	const before = "{{if .HasAvailableLocalFlags}}"
	usage := strings.NewReplacer(
		"Flags.FlagUsages ", fmt.Sprintf("Flags.FlagUsagesWrapped %d ", helpWidth),
		"  {{rpad .Name .NamePadding }} {{.Short}}", "{{listed .Name .Short}}",
	).Replace(root.UsageTemplate())
	root.SetUsageTemplate(strings.Replace(usage, before, list+"{{end}}"+before, 1))
	root.SetHelpTemplate(strings.Replace(root.HelpTemplate(), "{{. | trim", "{{paragraphs . | trim", 1))
}

// paragraphs fills each paragraph of text, except those with an indented line.
func paragraphs(text string) string {
	parts := strings.Split(text, "\n\n")
	for i, part := range parts {
		if !strings.Contains("\n"+part, "\n ") {
			parts[i] = strings.TrimRight(filled(strings.ReplaceAll(part, "\n", " "), ""), "\n")
		}
	}
	return strings.Join(parts, "\n\n")
}

var (
	markdownItem = regexp.MustCompile(`^(- |[0-9]+\. )`)
	markdownLink = regexp.MustCompile(`\[([^\]]+)\]\([^)]+\)`)
	markdownCode = regexp.MustCompile("`[^`]+`")
	quantity     = regexp.MustCompile(`([0-9]) (%|(?:C|s|[KMG]B)\b)`) // number and unit
	markdownRule = regexp.MustCompile(`^\|[-| ]+\|$`)
)

// plain turns the Markdown of a topic into text of at most helpWidth columns: headings in
// capitals, paragraphs and list items filled, tables aligned, links replaced by their
// texts, and fenced code unchanged, indented by two columns.
func plain(markdown string) string {
	var (
		b      strings.Builder
		first  string   // before the first line of the paragraph
		words  []string // of the paragraph so far
		table  *tabwriter.Writer
		fenced bool
	)
	end := func() { // of a paragraph or table
		b.WriteString(filled(strings.Join(words, " "), first))
		first, words = "", nil
		if table != nil {
			table.Flush()
			table = nil
		}
	}
	for line := range strings.Lines(markdown) {
		line = strings.TrimRight(line, "\n")
		switch {
		case strings.HasPrefix(line, "```"):
			end()
			fenced = !fenced
		case fenced:
			b.WriteString(strings.TrimRight("  "+line, " ") + "\n")
		case line == "":
			end()
			b.WriteString("\n")
		case strings.HasPrefix(line, "#"):
			end()
			b.WriteString(strings.ToUpper(unmarked(strings.TrimLeft(line, "# "))) + "\n")
		case markdownRule.MatchString(line):
		case strings.HasPrefix(line, "|"):
			if table == nil {
				table = tabwriter.NewWriter(&b, 0, 0, 2, ' ', 0)
			}
			cells := strings.Split(strings.Trim(line, "| "), "|")
			for i, cell := range cells {
				cells[i] = unmarked(strings.TrimSpace(cell))
			}
			fmt.Fprintln(table, "  "+strings.Join(cells, "\t"))
		default:
			if mark := markdownItem.FindString(line); mark != "" {
				end()
				first, line = "  "+mark, strings.TrimPrefix(line, mark)
			}
			words = append(words, strings.TrimSpace(line))
		}
	}
	end()
	return b.String()
}

// unbroken is a blank at which no line may be broken.
const unbroken = "\u00a0"

// unmarked removes the markup of links, code and emphasis. A command of several words gets
// quotation marks, and is not broken if it fits into half a line.
func unmarked(text string) string {
	text = markdownLink.ReplaceAllString(text, "$1")
	text = markdownCode.ReplaceAllStringFunc(text, func(code string) string {
		if code = strings.Trim(code, "`"); strings.Contains(code, " ") && code[0] != '-' &&
			!strings.Contains(code, `"`) {
			code = `"` + code + `"`
		}
		if len(code) <= helpWidth/2 {
			code = strings.ReplaceAll(code, " ", unbroken)
		}
		return code
	})
	text = quantity.ReplaceAllString(text, "$1"+unbroken+"$2")
	return strings.ReplaceAll(text, "**", "")
}

// filled breaks Markdown text into lines of at most helpWidth columns. The first line begins
// with first, the others with as many blanks. Empty text gives no line.
func filled(text, first string) string {
	var b strings.Builder
	line, indent := first, strings.Repeat(" ", len(first))
	empty := true // nothing but the indent is on the line
	for _, word := range strings.FieldsFunc(unmarked(text), func(r rune) bool { return r == ' ' }) {
		if !empty && utf8.RuneCountInString(line)+1+utf8.RuneCountInString(word) > helpWidth {
			b.WriteString(line + "\n")
			line, empty = indent, true
		}
		if !empty {
			line += " "
		}
		line, empty = line+word, false
	}
	if !empty {
		b.WriteString(line + "\n")
	}
	return strings.ReplaceAll(b.String(), unbroken, " ")
}
