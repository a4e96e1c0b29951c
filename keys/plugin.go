package keys

import (
	"errors"
	"strings"

	"filippo.io/age"
	"filippo.io/age/plugin"
)

// UsePlugins allows keys in hardware tokens: age runs the program age-plugin-NAME from the
// search path, and ui shows its messages. Only keys of this folder are ever passed to a
// plugin, never one from a shipment. Without UsePlugins such keys are refused.
func (f *Folder) UsePlugins(ui *plugin.ClientUI) { f.plugins = ui }

// usable returns r in the form that age encrypts to.
func (f *Folder) usable(r recipient) (age.Recipient, error) {
	if r.plugin == "" {
		return r.Recipient, nil
	}
	if f.plugins == nil {
		return nil, fault(NoTerminal, f.path(recipientsFile),
			"a recipient needs age-plugin-%s, and nobody can be asked for the token here", r.plugin).of(r.plugin)
	}
	p, err := plugin.NewRecipient(r.text, f.plugins)
	if err != nil {
		return nil, fault(CutLine, f.path(recipientsFile), "a recipient of age-plugin-%s cannot be read", r.plugin)
	}
	return pluginRecipient{p, r.plugin}, nil
}

// A pluginRecipient turns the failures of its program into an *[Error].
type pluginRecipient struct {
	*plugin.Recipient
	name string
}

func (p pluginRecipient) Wrap(fileKey []byte) ([]*age.Stanza, error) {
	s, err := p.Recipient.Wrap(fileKey)
	return s, pluginError(p.name, err)
}

func (p pluginRecipient) WrapWithLabels(fileKey []byte) ([]*age.Stanza, []string, error) {
	s, labels, err := p.Recipient.WrapWithLabels(fileKey)
	return s, labels, pluginError(p.name, err)
}

// pluginIdentity reads a line AGE-PLUGIN-NAME-1... of an identity file.
func (f *Folder) pluginIdentity(line string) (age.Identity, *Error) {
	damaged := bad(DamagedFile, "is damaged or cut short")
	name, _, err := plugin.ParseIdentity(line)
	if err != nil {
		return nil, damaged
	}
	if f.plugins == nil {
		return nil, bad(NoTerminal, "needs age-plugin-"+name+", and nobody can be asked for the token here").of(name)
	}
	id, err := plugin.NewIdentity(line, f.plugins)
	if err != nil {
		return nil, damaged
	}
	return identity{func(s []*age.Stanza) ([]byte, error) {
		key, err := id.Unwrap(s)
		if errors.Is(err, age.ErrIncorrectIdentity) {
			return nil, err
		}
		return key, pluginError(name, err)
	}}, nil
}

func isPluginIdentity(line string) bool { return strings.HasPrefix(line, "AGE-PLUGIN-") }

// pluginError withholds the program's own words, which may hold anything.
func pluginError(name string, err error) error {
	switch {
	case err == nil:
		return nil
	case errors.As(err, new(*plugin.NotFoundError)):
		return fault(NoPlugin, "", "the program age-plugin-%s is not on this computer's search path", name).of(name)
	}
	return fault(PluginFailed, "", "the program age-plugin-%s could not use its key", name).of(name)
}
