package keys

// The comments at the head of the files of a key folder, for the person who opens one
// in an editor: this is the only text of the package that names commands of the program.
// Lines that begin with # are ignored by age and ssh-keygen as well.
const (
	recipientsIntro = `# Laboratories that shipments are encrypted for: one age recipient a line.
# Add one with: outbreath keys trust FILE
`
	allowedIntroSite = `# Laboratories whose receipts are trusted (OpenSSH allowed_signers).
# Add one with: outbreath keys trust FILE
`
	allowedIntroLab = `# Sites whose shipments are trusted (OpenSSH allowed_signers).
# Add one with: outbreath keys trust FILE
`
	identityIntro = `# SECRET. Whoever has this line can open every shipment to this laboratory.
# Never send it, and keep a copy where only the laboratory can reach it.
`
	recipientIntro = `# This laboratory's age recipient. It is public: sites encrypt with it.
`
	publicIntroSite = `# Public key of a site, for the laboratory. It holds no secret.
# The laboratory adds it with: outbreath keys trust FILE
# Before use, both sides read the fingerprint to each other by telephone and compare (outbreath keys show).
`
	publicIntroLab = `# Public keys of a laboratory, for its sites. They hold no secret.
# A site adds them with: outbreath keys trust FILE
# Before use, both sides read the fingerprints to each other by telephone and compare (outbreath keys show).
`
	contactsIntro = `# Whose the trusted keys are: fingerprint, name, trusted since, compared by
# telephone, not after (- is none).
# Written by outbreath keys trust; the keys themselves are in the other files.
`
	revokedIntro = `# Keys that were revoked, and those that were trusted again: fingerprint, which of
# the two, name, day, by whom, why; tabs between.
# Written by outbreath keys untrust and keys trust.
`
)
