package main

import (
	"errors"
	"io"
	"net"
	"os"

	"filippo.io/age/plugin"
)

// dialAgent returns how to reach the ssh-agent, nil when the environment names none.
func dialAgent() func() (io.ReadWriter, error) {
	socket := os.Getenv("SSH_AUTH_SOCK")
	if socket == "" {
		return nil
	}
	return func() (io.ReadWriter, error) { return net.Dial("unix", socket) }
}

var errNobody = errors.New("nobody can be asked")

// pluginUI shows what the program of a hardware token says, and passes on what
// it asks for. Where nobody sits at a terminal it gets no answer.
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
		WaitTimer: func(name string) { u.tell("age-plugin-%s is at work; if the token blinks, touch it", name) },
	}
}
