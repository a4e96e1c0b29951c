package keys

import (
	"errors"
	"testing"
)

func TestOwnSignature(t *testing.T) {
	mine, theirs := create(t, NewOptions{Role: Site, Name: "mine"}), create(t, NewOptions{Role: Site, Name: "theirs"})
	const ns = "custody@outbreath"
	sig, err := mine.Sign(ns, []byte("text"))
	if err != nil {
		t.Fatal(err)
	}
	if err := mine.VerifyOwn([]byte("text"), sig, ns); err != nil {
		t.Error(err)
	}
	for _, c := range []struct {
		f             *Folder
		text, sig, ns string
		want          Reason
	}{
		{mine, "Text", string(sig), ns, DataChanged},
		{mine, "text", string(sig), "bag@outbreath", OtherNamespace},
		{theirs, "text", string(sig), ns, UnknownSigner},
		{mine, "text", string(sig[:len(sig)-40]), ns, NotSignature},
	} {
		var e *SignatureError
		if err := c.f.VerifyOwn([]byte(c.text), []byte(c.sig), c.ns); !errors.As(err, &e) || e.Reason != c.want {
			t.Errorf("%v, want %s", err, c.want)
		}
	}
}
