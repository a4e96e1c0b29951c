package main

import (
	"errors"
	"io"
	"net"
	"os"

	"filippo.io/age/plugin"
)

// dialAgent returns a function that connects to the ssh-agent, nil if the environment names
// none.
func dialAgent() func() (io.ReadWriter, error) {
	socket := os.Getenv("SSH_AUTH_SOCK")
	if socket == "" {
		return nil
	}
	return func() (io.ReadWriter, error) { return net.Dial("unix", socket) }
}

var errNobody = errors.New("nobody can be asked")

// pluginUI shows the messages of a hardware token's program, and passes its questions to
// the user. Without a terminal the questions fail.
func pluginUI(u *ui) *plugin.ClientUI {
	ask := func(question string, read func() (string, error)) (string, error) {
		if !interactive(u) {
			return "", errNobody
		}
		u.ask(true, question+"\n")
		return read()
	}
	return &plugin.ClientUI{
		DisplayMessage: func(name, message string) error {
			u.tell("age-plugin-%s: %s", name, message)
			return nil
		},
		RequestValue: func(name, prompt string, secret bool) (string, error) {
			return ask("age-plugin-"+name+" asks: "+prompt, func() (string, error) {
				if !secret {
					return readLine(u)
				}
				value, err := readSecret(u, int(u.in.(*os.File).Fd()))
				return string(value), err
			})
		},
		Confirm: func(name, prompt, yes, no string) (bool, error) {
			question := "age-plugin-" + name + " asks: " + prompt + " (y: " + yes
			if no != "" {
				question += ", n: " + no
			}
			answer, err := ask(question+")", func() (string, error) { return readLine(u) })
			return answer == "y" || answer == "Y", err
		},
		WaitTimer: func(name string) { u.tell("age-plugin-%s is working; if the token blinks, touch it", name) },
	}
}
