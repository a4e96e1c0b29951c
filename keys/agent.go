package keys

import (
	"io"

	"golang.org/x/crypto/ssh"
	"golang.org/x/crypto/ssh/agent"

	"outbreath/keys/sshsig"
)

// UseAgent allows the signing key to be in an ssh-agent, and so in a hardware token. If the
// folder has no file signing, the agent is asked for the key of signing.pub. dial returns a
// connection to the agent; nil means that there is no agent.
func (f *Folder) UseAgent(dial func() (io.ReadWriter, error)) { f.agent = dial }

// agentSigner returns a signer that has the ssh-agent sign with the key of signing.pub.
func (f *Folder) agentSigner() (ssh.Signer, error) {
	pub, _, err := f.ownSigner()
	if err != nil {
		return nil, err
	}
	if pub == nil {
		return nil, f.missing(DamagedFile, signingFile)
	}
	if err := sshsig.CheckKey(pub); err != nil {
		return nil, fault(UnusableKey, f.path(signingPub), "%s", err)
	}
	if f.agent == nil {
		return nil, f.missing(NoSigningKey, signingFile)
	}
	conn, err := f.agent()
	if err != nil {
		return nil, fault(AgentSilent, f.path(signingPub), "the ssh-agent that should hold this key does not answer")
	}
	signers, err := agent.NewClient(conn).Signers()
	if err != nil {
		return nil, fault(AgentLocked, f.path(signingPub), "the ssh-agent does not list its keys")
	}
	for _, s := range signers {
		as, ok := s.(ssh.AlgorithmSigner)
		if !ok || !sameKey(s.PublicKey(), pub) {
			continue
		}
		return signer{pub, func(rand io.Reader, data []byte, algorithm string) (*ssh.Signature, error) {
			sig, err := as.SignWithAlgorithm(rand, data, algorithm)
			if err != nil {
				return nil, fault(AgentRefused, f.path(signingPub), "the ssh-agent did not sign")
			}
			return sig, nil
		}}, nil
	}
	return nil, fault(AgentWithoutKey, f.path(signingPub), "the ssh-agent does not hold this key")
}
