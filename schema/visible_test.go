package schema_test

import (
	"strings"
	"testing"
	"unicode"

	"outbreath/schema"
)

// Code points from the Unicode Standard's charts, from memory.
func TestHidden(t *testing.T) {
	for name, r := range map[string]rune{
		"NUL": 0, "escape": 0x1B, "delete": 0x7F, "C1": 0x9B, "soft hyphen": 0xAD,
		"combining grapheme joiner": 0x34F, "Hangul filler": 0x115F,
		"Hangul filler 2": 0x3164, "half-width filler": 0xFFA0, "Khmer vowel": 0x17B4, "Mongolian selector": 0x180B,
		"vowel separator":  0x180E,
		"zero-width space": 0x200B, "non-joiner": 0x200C, "joiner": 0x200D, "left-to-right mark": 0x200E,
		"line separator": 0x2028, "embedding": 0x202A,
		"override": 0x202E, "word joiner": 0x2060, "invisible times": 0x2062, "isolate": 0x2066,
		"end of isolate": 0x2069, "Braille blank": 0x2800,
		"selector": 0xFE0F, "byte order mark": 0xFEFF, "object": 0xFFFC, "interlinear": 0xFFF9, "private": 0xE000,
		"private 2": 0x10FFFD,
		"tag A":     0xE0041, "cancel tag": 0xE007F, "ideographic selector": 0xE0100, "unassigned": 0x0378,
		"not a character": 0xFFFE,
	} {
		for _, text := range []string{"quiet" + string(r) + "breath", string(r), "zoë " + string(r),
			"x" + string(r) + string(r)} {
			at, message, found := schema.Hidden(text)
			if !found || at != strings.IndexRune(text, r) || !strings.Contains(message, "U+") ||
				strings.Contains(message, "breath") {
				t.Errorf("%s in %q: %d, %q, %v", name, text, at, message, found)
			}
		}
	}
	if _, message, found := schema.Hidden("quiet \xff"); !found || !strings.Contains(message, "character 7 ") {
		t.Errorf("broken UTF-8: %q", message)
	}
	for _, text := range []string{
		"", "quiet breathing, 5.1 kPa\r\n\tnext line", "Zo\u0308e, 27\u00a0kPa, 3\u202f000",
		"naïve – “quoted” … 5 µg ≤ 10 °C", "☀️ and ⚠︎, 1️⃣", "🙂👍🏽", "Keʻalamākua",
		"می\u200cخواهم", "क्\u200dष", "星桜 Дарина", "全角　空白",
	} {
		if at, message, found := schema.Hidden(text); found {
			t.Errorf("%q is refused at %d: %s", text, at, message)
		}
	}
	for _, text := range []string{"☀\ufe0f\ufe0f", "a\ufe0f", "7\ufe0f", "a\u200cb", "-\u200d-", "خ\u200c",
		"🏴\U000e0067\U000e007f"} {
		if _, _, found := schema.Hidden(text); !found {
			t.Errorf("%q passes", text)
		}
	}
}

// Whatever Unicode says is a format character, a control or no character is hidden
// wherever it is alone between words.
func TestHiddenCategories(t *testing.T) {
	n := 0
	for r := rune(0); r <= unicode.MaxRune; r++ {
		hidden := unicode.In(r, unicode.Cf, unicode.Co, unicode.Zl, unicode.Zp,
			unicode.Other_Default_Ignorable_Code_Point, unicode.Variation_Selector) ||
			unicode.Is(unicode.Cc, r) && r != '\n' && r != '\t' && r != '\r'
		if !hidden {
			continue
		}
		n++
		if _, _, found := schema.Hidden("ab " + string(r) + " cd"); !found {
			t.Errorf("%U passes", r)
		}
	}
	if n < 100_000 { // most of them are for private use
		t.Fatalf("%d characters", n)
	}
}
