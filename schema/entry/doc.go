// Package entry asks for a session field by field, and knows no terminal.
//
// In go a collection and the site's settings ([Open]); a [Session] says what is to be
// asked next ([Session.Next]), takes answers, and writes the record at the end. What was
// confirmed is kept at once in [File], so that a run that is cut off anywhere goes on
// from there. A record that is there already is changed in the same way; what changed,
// who changed it, when and why are appended to [AmendmentsFile].
//
// The errors of answers are words for the person who typed them, at the site's own
// terminal, and may name a subject's id or a tube. They are not for logs.
package entry
