package main

import (
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"
	"slices"
	"strings"
	"unicode"

	"outbreath/deid"
	"outbreath/keys"
	"outbreath/pack"
	"outbreath/pack/custody"
	"outbreath/pack/intake"
	"outbreath/pack/media"
	"outbreath/pack/register"
	"outbreath/pack/site"
	"outbreath/schema"
)

// The packages below this one state facts, as an error of its own type or with a stable
// word for its kind. The tables here hold the advice on each. Where this package itself
// refuses something, [usagef] and [rejectf] carry the advice.

// A remedy returns what a person can do about err, or "" if it is for other errors.
type remedy func(err error) string

// of returns the remedy for errors of type E, with advice that depends on the error.
func of[E error](do func(E) string) remedy {
	return func(err error) string {
		if e, ok := errors.AsType[E](err); ok {
			return do(e)
		}
		return ""
	}
}

// on returns the remedy that gives the same advice on all errors of type E.
func on[E error](do string) remedy { return of(func(E) string { return do }) }

// behind returns the remedy for errors that wrap target.
func behind(target error, do string) remedy {
	return func(err error) string {
		if errors.Is(err, target) {
			return do
		}
		return ""
	}
}

// remedies are tried in this order, so advice on one specific error must come before
// advice on the kind of error that it wraps.
var remedies = []remedy{
	on[*intake.ReceiptError](receiptToDo), // whatever caused it
	of(intakeToDo),
	of(func(a *intake.Answer) string { return answerAdvice[a.Case] }),
	behind(intake.ErrNotAsked, notAskedToDo),
	of(conflictToDo),
	on[*site.BusyError](waitToDo), on[*custody.ChangedError](waitToDo),
	on[*schema.ChangedError]("close the programs that use the collection, then run this command again"),
	of(func(e *schema.ConfigError) string {
		if e.NoCollection {
			return "give the collection folder, or create a new one with begin"
		}
		return ""
	}),
	on[*deid.FindingsError]("decide on each with review, then run this command again; nothing was written"),
	on[*deid.InspectionError]("correct the record or the plan that lets the text out, then run check again"),
	on[*deid.RosterError]("look at that place, remove the value at its source (a recording: export it again " +
		"without it, or leave it out of the record), report to whoever looks after this tool that its search " +
		"missed it, then run check again"),
	of(func(e *usageError) string { return e.do }),
	of(func(e *rejectedError) string { return e.do }),
	allKeysToDo,
	of(signatureToDo),
	of(placeToDo),
	of(mediaToDo),
	siteToDo,
	on[*deid.ReasonError]("give the reason in other words with --tube-reason, then seal again; nothing was written"),
	on[*keys.MissingSharesError]("ask further custodians for their shares, and name all files at once"),
	on[*custody.BrokenError](damagedToDo),
	on[*custody.AlteredError]("change nothing, keep a copy of both files and tell the privacy officer"),
	behind(custody.ErrReadBack, "this disk cannot be trusted: copy the collection to another one and run the "+
		"command there"),
	behind(custody.ErrFull, "begin a new collection"),
	on[*custody.TornError]("run outbreath custody COLLECTION --repair, which keeps the unfinished line in a file " +
		"of its own"),
	of(registerToDo),
	on[*pack.TwiceError]("name one folder on each of two media, or one folder alone; nothing was written"),
	on[*pack.ExistsError]("choose another medium, or another number with --shipment; nothing was changed"),
	behind(pack.ErrUncompared, compareWordsToDo),
	behind(pack.ErrRecipients, "look at the recipients with keys show, and keep those of one kind"),
	behind(pack.ErrParts, "choose a larger part size with --part-size, or a medium formatted as exFAT"),
	behind(fs.ErrPermission, "ask for the right to read and write there, or run as the person who owns it"),
}

// waitToDo is the advice when another command is working on the same files.
const waitToDo = "wait until it has ended, then run this command again"

// toDo returns what a person can do about err, or "".
func toDo(err error) string {
	for _, a := range remedies {
		if do := a(err); do != "" {
			return do
		}
	}
	return ""
}

// In the tables, {path} is replaced by the file or folder, quoted for a shell, and {name}
// by the party or the plugin that the fault concerns.

const restoreFile = "put back your copy of it"

var keyAdvice = map[keys.Fault]string{
	keys.NoFolder:      "name another folder with --keys DIR, or make one with keys new",
	keys.LinkedFolder:  "name the folder that it leads to",
	keys.NotFolder:     "name the folder that holds the keys",
	keys.ForeignFolder: `run: sudo chown -R "$(id -un)" {path}, or run the command as the user whose folder it is`,
	keys.OpenFolder: "run: chmod 700 {path} (if that changes nothing, the disk keeps no permissions: keep the " +
		"keys on one that does)",
	keys.NotKeyFolder:  "name another folder, or make a new one with keys new",
	keys.MixedFolder:   "keep each in a folder of its own",
	keys.TwoIdentities: "keep one of them and move the other away",
	keys.BusyFolder:    "wait until it has ended, then run this command again",
	keys.LinkedFile:    "put the file itself into the key folder",
	keys.NotFile:       "move it out of the key folder",
	keys.ForeignFile:   `run: sudo chown "$(id -un)" {path}, or run the command as the user whose file it is`,
	keys.WritableList:  "look through it, then run: chmod 644 {path}",
	keys.ReadableKey: "run: chmod 600 {path} (if that changes nothing, the disk keeps no permissions: keep " +
		"the key on one that does)",
	keys.ReplacedFile: "run the command again",
	keys.DamagedFile:  restoreFile,
	keys.NoPseudonymKey: "put back your copy of it, or join its shares with keys join; do not make a new one: " +
		"with it the pseudonyms of all subjects would be lost, and new data would not join the old",
	keys.DamagedPseudonym: "put back the site's copy of this file; do not make a new key: every pseudonym " +
		"would change",
	keys.LostGeneration:    "put back your copies of both",
	keys.FullOfGenerations: "keep the key as it is, and ask the privacy officer",
	keys.NoSigningKey: "put back your copy of it; or, if the key is kept in an ssh-agent, start that and let " +
		"SSH_AUTH_SOCK name it",
	keys.UnusableKey:     "put back your copy of it, or make a new folder with keys new",
	keys.OtherEncryption: "put back the file that keys new made",
	keys.UnmatchedFiles:  "put back the files that were made together",
	keys.NoPublicKey:     "make it again: ssh-keygen -y -f {private} > {path}",
	keys.BadState: "put back your copy of the key folder, or have the privacy officer begin it anew with " +
		"custody COLLECTION --restored",
	keys.FullState:      "keep the folder as it is, and ask the privacy officer",
	keys.NotPrivateDisk: "keep the keys in a folder on the computer's own disk",
	keys.BadDisk:        "this disk cannot be trusted: copy the key folder to another one, and run the command there",

	keys.BadLine:       "remove that line, or put back your copy of the file",
	keys.BadContact:    "remove that line, and trust the key again with keys trust",
	keys.BadRevocation: "restore the file from a copy, or ask your privacy officer",
	keys.FullList:      "remove lines that are not needed",
	keys.CutLine:       "copy the complete line again",
	keys.SecretInList: "remove it; if this file has left its owner's computer, the owner must make a " +
		"new key",
	keys.UnsupportedKey:   "ask for ssh-ed25519, ecdsa or rsa, without certificate or hardware token",
	keys.CannotEncrypt:    "ask for ssh-ed25519 or ssh-rsa, or an age recipient",
	keys.ControlCharacter: "write the line again in a text editor",
	keys.NamePattern:      "write the site code or the laboratory's name",
	keys.NameExcluded:     "list the names that are meant",
	keys.Authority:        "list the signers' own keys",
	keys.BadSeparator:     "write a comma between options and a blank before the key",
	keys.BadNamespace:     "list each one by its full name, separated by commas without blanks",
	keys.BadTime:          "write YYYYMMDD or YYYYMMDDHHMM or YYYYMMDDHHMMSS, with a Z after it for UTC",

	keys.NoRecipient: "add its public keys with keys trust FILE",
	keys.UnknownRecipient: "add its public keys with keys trust FILE --name {name}, or remove the name from " +
		"study.json",
	keys.ExpiredRecipient: "ask for the current one and trust that with --replace and a new --expires, or " +
		"remove it with keys untrust",
	keys.MixedRecipients: "keep the lines of one kind, and ask the laboratories of the other kind for a new " +
		"recipient",

	keys.BadName:       "use 1 to 64 letters, digits, dots, hyphens and underscores, as in the site code",
	keys.BadDay:        "write it as 2027-03-31",
	keys.BadReason:     "give it in one line",
	keys.NotPublicKeys: "name the other side's public-keys.txt, as keys new makes it: one public key per line",
	keys.EmptyFile:     "ask the other side for its public-keys.txt once more",
	keys.DayOver:       "give a future day; to revoke keys, use keys untrust",
	keys.SecretHanded:  "ask for the public key, and warn the owner that this key is no longer secret",
	keys.MixedOffer: "ask this laboratory for a recipient of the kind that recipients.txt already lists, or " +
		"remove the old lines first",
	keys.OwnKey:          "name the other side's public-keys.txt",
	keys.RecipientForLab: "name a site's public-keys.txt",
	keys.ChangedKey: "ask {name} by telephone, at a number that you know already and not one from the message " +
		"that the file came with, whether and why the key was changed; only if so, compare the words and trust " +
		"the file again with --replace",
	keys.NamelessKey:  "give the name with --name: the site code, or the laboratory's short name",
	keys.OtherPurpose: "remove that line, then trust the key again",
	keys.SharedKey:    "check that this is the right file, and the name",
	keys.RevokedKey: "find out whether only its owner has it, compare the words, and " +
		"trust it again with --reason TEXT",
	keys.NobodyTrusted: "look for the name in keys show (a key that several names share must be removed from " +
		"allowed_signers by hand)",

	keys.Occupied:          "name a folder that does not exist",
	keys.NoRole:            "give --role site or --role lab",
	keys.ClassicSite:       "leave out --classic, or give --role lab",
	keys.SiteIdentity:      "leave out --identity and --recipient, or give --role lab",
	keys.EmptyPassphrase:   "choose one, or give --no-passphrase",
	keys.NotIdentity:       "name the file that holds the identity",
	keys.NotPublicFile:     "name the file that ends with .pub",
	keys.OneKeyExpected:    "name a file with one key",
	keys.RecipientAlone:    "name the identity's file with --identity",
	keys.RecipientMissing:  "give its recipient, as the plugin showed it, with --recipient",
	keys.RecipientNeedless: "leave out --recipient",
	keys.UnlockedSSHKey: "give it one first (ssh-keygen -p -f FILE) and type the same here, or give " +
		"--no-passphrase",
	keys.OtherPassphrase: "type the key's own passphrase: one passphrase must open the whole folder",

	keys.NoFile:        "check the name",
	keys.NamedLink:     "name the file that it leads to",
	keys.NamedFolder:   "name the file in it",
	keys.NamedOther:    "name the file that holds the key",
	keys.WrongFile:     "check that it is the right file",
	keys.ForeignSecret: "use a file of your own: a secret is never read from anybody else's",
	keys.ReadableSecret: "run: chmod 600 {path} (if that changes nothing, the disk keeps no permissions: keep " +
		"it on one that does)",

	keys.BadSplit:        "choose other numbers with --shares and --threshold",
	keys.PluginShare:     "ask that custodian for an age recipient (age1... without a plugin's name, or age1pq1...)",
	keys.FailedSplit:     "run the command again; if it fails once more, keep the shares and the key as they are",
	keys.DamagedShare:    "ask its custodian for the other copy, file or paper",
	keys.LockedShare:     "name the identity file with --identity FILE",
	keys.WrongIdentity:   "try the right identity, or the other copy",
	keys.MistypedLetters: "compare the line with the sheet, and type it again",
	keys.MissingLetters:  "type all lines of the sheet",
	keys.OtherSplit:      "ask its custodian for the one of the same set",
	keys.NoShares:        "name the files of the shares",

	keys.NoPassphrase:    "run on a terminal, or give --passphrase-file FILE",
	keys.WrongPassphrase: "compare with what is written down, and run the command again",
	keys.NoTerminal:      "run this at a terminal",
	keys.NoPlugin:        "install it as the token's maker says, in a folder on the search path",
	keys.PluginFailed:    "check whether the token is connected and answers, then run the command again",
	keys.AgentSilent:     "start it, load the key with ssh-add, and run the command again",
	keys.AgentLocked:     "unlock it (ssh-add -X), and run the command again",
	keys.AgentRefused:    "confirm the question that it asks, or unlock it, and run the command again",
	keys.AgentWithoutKey: "load it with ssh-add, or connect the token that holds it",
}

// keysToDo returns the advice on one error of a key folder, or "".
func keysToDo(e *keys.Error) string {
	return strings.NewReplacer("{path}", shellPath(e.Path), "{name}", e.Name,
		"{private}", shellPath(strings.TrimSuffix(e.Path, filepath.Ext(e.Path)))).Replace(keyAdvice[e.Fault])
}

// allKeysToDo returns the advice on every key folder error within err, joined by
// semicolons, each piece once.
func allKeysToDo(err error) string {
	var all []string
	var look func(err error)
	look = func(err error) {
		switch e := err.(type) {
		case *keys.Error:
			do := keysToDo(e)
			if do == "" {
				look(e.Unwrap())
			} else if !slices.Contains(all, do) {
				all = append(all, do)
			}
		case interface{ Unwrap() []error }:
			for _, one := range e.Unwrap() {
				look(one)
			}
		case interface{ Unwrap() error }:
			look(e.Unwrap())
		}
	}
	look(err)
	return strings.Join(all, "; ")
}

var signatureAdvice = map[keys.Reason]string{
	keys.NotSignature: "ask for a new copy of the file",
	keys.UnknownSigner: "read this fingerprint to the signer by telephone, and only if it is theirs, add " +
		"their public key with keys trust FILE",
	keys.RevokedSigner:  "do not use what it came with, keep it as it is, and tell {by} and your privacy officer",
	keys.OtherName:      "keep what was signed apart and ask both sides by telephone",
	keys.OtherNamespace: "do not use what it came with",
	keys.NotTrustedFor:  "if it should be, add {namespace} to the namespaces of its line in allowed_signers",
	keys.NotValidThen:   "check this computer's clock",
	keys.Expired: "ask {name} by telephone for the present key, compare the words, and trust it with keys " +
		"trust --replace",
	keys.DataChanged: "do not use it, and ask for a new copy",
}

// signatureToDo returns the advice on a signature that was not accepted.
func signatureToDo(e *keys.SignatureError) string {
	fill := strings.NewReplacer("{name}", e.Name, "{by}", e.By, "{namespace}", e.Namespace)
	return fill.Replace(signatureAdvice[e.Reason])
}

// compareWordsToDo is repeated each time that a command relies on a key that nobody has
// compared.
const compareWordsToDo = "do it by telephone, and run keys trust on its file again at a terminal"

var mediaAdvice = map[media.Fault]string{
	media.Mismatch: "do not send this medium: take another one, and do not use this one again",
	media.PulledOut: "plug it in again, in another port if this happens twice, then run the command again from " +
		"the start",
	media.Full: "remove files that are not needed there, or take a larger medium, then run the command again",
	media.OverQuota: "delete files there, or ask whoever runs the computers for more space, then run the command " +
		"again",
	media.FileTooBig: "run the command again with a smaller part size (--part-size), or use a medium formatted " +
		"as exFAT",
	media.ReadOnly: "look for a write-protect switch on the medium; if there is none, have it checked or take " +
		"another one, " +
		"then run the command again",
	media.Broken: "do not send this medium: take another one and run the command again",
	media.NotAllowed: "choose another folder, or ask whoever runs the computers for permission to write to it, " +
		"then run the command again",
	media.Unexplained: "check whether the medium is plugged in and can be written, then try again; " +
		"if it fails once more, use another medium",
	pack.TooSmall:       "use an empty or a larger medium; nothing of this shipment was left on this one",
	pack.RepairTooLarge: "seal with a smaller share of repair data, or without",
	pack.Differs:        "do not send either medium: take two others and run the command again",
	pack.Unreadable: "ask whoever runs the computers for permission to read the medium, or run the command as " +
		"somebody who may; the medium needs no right to write",
	pack.DiskFull: "free space on that disk, or name a folder on a larger one with --into; nothing was unpacked, " +
		"and the shipment's medium needs no space",
	pack.DiskFailed: "check that disk and folder, or name another folder with --into; nothing was unpacked",
}

// mediaToDo returns the advice on a medium that failed, and on the copies on other media.
func mediaToDo(e *pack.MediaError) string {
	do := mediaAdvice[e.Fault]
	if e.Several {
		do += "; no copy was left on the other medium either: seal again onto two media that work, or onto one"
	}
	for _, folder := range e.Stuck {
		do += fmt.Sprintf("; %s could not be removed again: it is whole, but is recorded as not sealed, so do "+
			"not send it", folder)
	}
	return do
}

// countsOnce ends advice to repeat a command, and says why that is safe.
const countsOnce = "then run this again: what was entered counts once"

var registerAdvice = map[register.Fault]string{
	register.NoAddress: "name a file, or write postgres://USER@HOST/DATABASE after --register",
	register.UnknownAddress: "name a file, or write postgres://USER@HOST/DATABASE; " +
		"write ./ before a file name that contains = or a colon",
	register.BadAddress: "write it as postgres://USER@HOST/DATABASE",
	register.PasswordShown: "remove it, put it into a file that only you can read, name that file in PGPASSFILE, " +
		"and change the password: other users of this computer may have seen it",
	register.BadSetting: "write it as postgres://USER@HOST/DATABASE, and look at the PG... variables of the " +
		"environment",
	register.BadTLS: "look at sslmode and sslrootcert in the address, and at the PG... variables of the " +
		"environment",
	register.Unverified: "write sslmode=verify-full, or leave out sslmode and remove PGSSLMODE from the " +
		"environment; " +
		"sslrootcert names the certificate authority of your own server",
	register.SettingNoFile:  "name an ordinary file, or remove the setting",
	register.SettingTooLong: "check that it is the right file",
	register.NoFolder:       "make the folder, correct the path, or name a file in a folder that you may read",
	register.NotFile:        "name the register's own file, or a new one",
	register.NotSideFile:    "move it away while no command is using the register, then run the command again",

	register.NotRegister:  "name the register's file, or one that is not there yet",
	register.NotWritable:  "ask for the right to write the file and its folder",
	register.LaterVersion: "use that version here too",
	register.NotPrepared: "ask somebody whose role may create tables to run outbreath verify --register DB --prepare, " +
		"then grant this role SELECT, INSERT and UPDATE on them",
	register.BadContents: "keep the database as it is, and ask the person who looks after it",
	register.DamagedFile: "keep it as it is, and go on with the last copy of it",
	register.FailedFile:  "look at the disk, " + countsOnce,
	register.DiskFull:    "free some space, " + countsOnce,
	register.Busy:        "close it, " + countsOnce,
	register.Unreachable: "check whether the server runs and the address is right, " + countsOnce,
	register.BadCertificate: "ask the person who looks after the server for the certificate of its authority, " +
		"and name that file with sslrootcert=FILE in the address; do not turn the check off",
	register.LoginRefused: "check whether the names of role and database in the address are right, put the role's " +
		"password into the file that PGPASSFILE names, or ask the person who looks after the server",
	register.NoDatabase: "correct the name, or have the database created",
	register.NotGranted: "ask for SELECT, INSERT and UPDATE on the register's tables for a station's role; " +
		"the role that creates them with --prepare also needs the right to create tables",
	register.ServerDiskFull: "have space freed there, " + countsOnce,
	register.ServerRefused: "run this again: what was entered counts once; if it fails once more, " +
		"ask the person who looks after the server",

	register.WrongSite:      "verify the shipment again",
	register.BadNumber:      "write it as WEIR-0012",
	register.BadReason:      "write one line of at most 500 bytes, without anything about a person",
	register.NothingOpen:    "look at verify --overdue for what is open",
	register.UnknownSite:    "look at verify --overdue for the studies and sites that the register knows",
	register.SeveralStudies: "say which one with --study: {studies}",
	register.TwoContents: "ask the site to seal the contents that do not count again, under a free number; " +
		"use neither until it has said which counts",
}

// registerToDo returns the advice on a register that cannot be used.
func registerToDo(e *register.Error) string {
	return strings.ReplaceAll(registerAdvice[e.Fault], "{studies}", strings.Join(e.Studies, " or "))
}

// shellPath returns p quoted for a POSIX shell where that is needed.
func shellPath(p string) string {
	plain := func(r rune) bool {
		return unicode.IsLetter(r) || unicode.IsDigit(r) || strings.ContainsRune("/._-+@%,", r)
	}
	if p != "" && strings.IndexFunc(p, func(r rune) bool { return !plain(r) }) < 0 {
		return p
	}
	return "'" + strings.ReplaceAll(p, "'", `'\''`) + "'"
}
