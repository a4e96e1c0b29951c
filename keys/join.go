package keys

import (
	"fmt"
	"strings"

	"outbreath/pack/durable"

	"github.com/cloudflare/circl/secretsharing"
)

// A NamedShare is a share with the name of the file that it came from.
type NamedShare struct {
	File string
	*Share
}

// A MissingSharesError says how many shares are given and how many are needed. Fewer than
// needed reveal nothing about the key.
type MissingSharesError struct{ Have, Need int }

func (e *MissingSharesError) Error() string {
	return fmt.Sprintf("%d of the %d shares that are needed are here: %d missing; fewer reveal nothing "+
		"about the key", e.Have, e.Need, e.Need-e.Have)
}

// Join reconstructs the pseudonym key. Each share was checked against its own commitments
// when it was opened; here all must be from one split. The error is a *[MissingSharesError],
// or an *[Error] that names the share that does not belong.
func Join(shares []NamedShare) (*PseudonymKey, error) {
	if len(shares) == 0 {
		return nil, fault(NoShares, "", "no share was given")
	}
	if err := oneSplit(shares); err != nil {
		return nil, err
	}
	var parts []secretsharing.Share
	seen := map[int]bool{}
	for _, s := range shares {
		if seen[s.Index] {
			continue // the same share twice counts once
		}
		seen[s.Index] = true
		part, ok := s.part()
		if !ok {
			return nil, fault(DamagedShare, s.File, "is damaged")
		}
		parts = append(parts, part)
	}
	need := shares[0].Threshold
	if len(parts) < need {
		return nil, &MissingSharesError{len(parts), need}
	}
	secret, err := secretsharing.Recover(uint(need-1), parts)
	if err != nil {
		return nil, fault(FailedSplit, "", "the shares do not join")
	}
	wide, err := secret.MarshalBinary()
	commitments, ok := shares[0].commitments()
	if err != nil || !ok || !shareGroup.NewElement().MulGen(secret).IsEqual(commitments[0]) ||
		strings.Trim(string(wide[:scalarBytes-32]), "\x00") != "" {
		return nil, fault(FailedSplit, "", "the shares do not join to the key that they were made from")
	}
	defer clear(wide)
	return NewPseudonymKey([32]byte(wide[scalarBytes-32:])), nil
}

// oneSplit returns an error about the first share that is from another split than most.
func oneSplit(shares []NamedShare) error {
	votes := map[string]int{}
	best := shares[0].common()
	for _, s := range shares {
		votes[s.common()]++
	}
	for _, s := range shares { // in order, so that the answer is always the same
		if votes[s.common()] > votes[best] {
			best = s.common()
		}
	}
	for _, s := range shares {
		if s.common() != best {
			return fault(OtherSplit, s.File, "is not of the same split as the other shares (it is of set %s)", s.Set)
		}
	}
	return nil
}

// Same reports whether k and joined are the same key.
func (k *PseudonymKey) Same(joined *PseudonymKey) bool { return k.equal(joined) }

// ProtectPseudonymKey returns the contents of a pseudonym.key file for k: under pass, or
// plain if pass is nil.
func ProtectPseudonymKey(k *PseudonymKey, pass []byte) ([]byte, error) {
	return protect(formatPseudonymKey(k), pass)
}

// WriteSecret writes a new file with mode 0600, complete or not at all, and reads it back.
func WriteSecret(path string, data []byte) error {
	root, name, err := durable.At(path)
	if err == nil {
		defer root.Close()
		err = durable.WriteNew(root, name, data, 0o600)
	}
	if err != nil {
		return ioFault(path, "write this file", err)
	}
	return nil
}
