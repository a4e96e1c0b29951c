package keys

import (
	"io"

	"golang.org/x/crypto/ssh"
	"golang.org/x/crypto/ssh/agent"

	"outbreath/keys/sshsig"
)

// UseAgent lets the signing key live in an ssh-agent, and so in a token: it is
// asked for the key of signing.pub when the folder has no file signing. dial
// returns a connection to the agent; nil means that there is none.
func (f *Folder) UseAgent(dial func() (io.ReadWriter, error)) { f.agent = dial }

// agentSigner finds the key of signing.pub in the ssh-agent.
func (f *Folder) agentSigner() (ssh.Signer, error) {
	pub, _, err := f.ownSigner()
	if err != nil {
		return nil, err
	}
	if pub == nil {
		return nil, f.missing(signingFile, "put back your copy of it")
	}
	if err := sshsig.CheckKey(pub); err != nil {
		return nil, fault(f.path(signingPub), "%s", err)
	}
	if f.agent == nil {
		return nil, f.missing(signingFile, "put back your copy of it; or, if the key lives in an ssh-agent, start that and let SSH_AUTH_SOCK name it")
	}
	conn, err := f.agent()
	if err != nil {
		return nil, fault(f.path(signingPub), "the ssh-agent that should hold this key does not answer; start it, load the key with ssh-add, and run the command again")
	}
	signers, err := agent.NewClient(conn).Signers()
	if err != nil {
		return nil, fault(f.path(signingPub), "the ssh-agent does not tell its keys; unlock it (ssh-add -X), and run the command again")
	}
	for _, s := range signers {
		as, ok := s.(ssh.AlgorithmSigner)
		if !ok || !sameKey(s.PublicKey(), pub) {
			continue
		}
		return signer{pub, func(rand io.Reader, data []byte, algorithm string) (*ssh.Signature, error) {
			sig, err := as.SignWithAlgorithm(rand, data, algorithm)
			if err != nil {
				return nil, fault(f.path(signingPub), "the ssh-agent did not sign; confirm the question that it asks, or unlock it, and run the command again")
			}
			return sig, nil
		}}, nil
	}
	return nil, fault(f.path(signingPub), "the ssh-agent does not hold this key; load it with ssh-add, or connect the token that holds it")
}
