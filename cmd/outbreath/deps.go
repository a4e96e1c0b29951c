package main

import (
	_ "github.com/google/go-cmp/cmp"
	_ "github.com/klauspost/compress/zstd"
	_ "github.com/rogpeppe/go-internal/testscript"
	_ "github.com/santhosh-tekuri/jsonschema/v5"
	_ "github.com/spf13/cobra"
	_ "golang.org/x/sys/unix"
	_ "golang.org/x/term"
	_ "golang.org/x/text/unicode/norm"
	_ "pgregory.net/rapid"
)
