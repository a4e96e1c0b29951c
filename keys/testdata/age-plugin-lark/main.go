// Command age-plugin-lark stands in for the program of a hardware token in tests:
// its keys are X25519 keys, and it says so before it opens anything. Called with
// "new" it prints an identity and a recipient. If the file LARK_BROKEN names is
// there, it fails.
package main

import (
	"errors"
	"fmt"
	"os"

	"filippo.io/age"
	"filippo.io/age/plugin"
)

const name = "lark"

func main() {
	if len(os.Args) == 2 && os.Args[1] == "new" {
		id, err := age.GenerateX25519Identity()
		if err != nil {
			os.Exit(1)
		}
		fmt.Println(plugin.EncodeIdentity(name, []byte(id.String())))
		fmt.Println(plugin.EncodeRecipient(name, []byte(id.Recipient().String())))
		return
	}
	p, err := plugin.New(name)
	if err != nil {
		os.Exit(1)
	}
	p.RegisterFlags(nil)
	p.HandleRecipient(func(data []byte) (age.Recipient, error) { return age.ParseX25519Recipient(string(data)) })
	p.HandleIdentity(func(data []byte) (age.Identity, error) {
		if _, err := os.Stat(os.Getenv("LARK_BROKEN")); err == nil {
			return nil, errors.New("no token")
		}
		id, err := age.ParseX25519Identity(string(data))
		return token{p, id}, err
	})
	os.Exit(p.Main())
}

type token struct {
	p *plugin.Plugin
	*age.X25519Identity
}

func (t token) Unwrap(stanzas []*age.Stanza) ([]byte, error) {
	if err := t.p.DisplayMessage("touch the token now"); err != nil {
		return nil, err
	}
	return t.X25519Identity.Unwrap(stanzas)
}
