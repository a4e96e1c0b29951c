package keys

// The comments at the head of the files of a key folder, for whoever opens one in an editor.
// They are the only texts of the package that name commands of the program. age and
// ssh-keygen also ignore lines that begin with #.
const (
	recipientsIntro = `# Laboratories for which shipments are encrypted: one age recipient per line.
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
	contactsIntro = `# Owners of the trusted keys: fingerprint, name, trusted since, compared by
# telephone, last day of use (- is none).
# Written by outbreath keys trust; the keys themselves are in the other files.
`
	revokedIntro = `# Keys that were revoked, and keys that were trusted again: fingerprint, which of
# the two, name, day, by whom, why; separated by tabs.
# Written by outbreath keys untrust and keys trust.
`
)
