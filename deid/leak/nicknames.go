package leak

// nicknames maps a given name to short forms that do not begin as it does, or
// that are words; folded.
var nicknames = wordsOf("nicknames")
