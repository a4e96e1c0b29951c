package demo

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// reader prints what EDFlib sees; it refuses any file that breaks EDF+.
const reader = `
#include <stdio.h>
#include <edflib.h>
int main(int n, char **arg) {
	struct edf_hdr_struct h;
	if (edfopen_file_readonly(arg[1], &h, EDFLIB_READ_ALL_ANNOTATIONS)) { printf("refused %d\n", h.filetype); return 1; }
	printf("%d signals, %lld s\n", h.edfsignals, h.file_duration / EDFLIB_TIME_DIMENSION);
	for (int i = 0; i < h.annotations_in_file; i++) {
		struct edf_annotation_struct a;
		edf_get_annotation(h.handle, i, &a);
		printf("%lld %s\n", a.onset / EDFLIB_TIME_DIMENSION, a.annotation);
	}
	return n != 2;
}
`

// EDFlib (Debian libedf-dev, BSD licence), a program that is not ours, reads
// what we write, with the annotations in their places.
func TestEDFlibReadsIt(t *testing.T) {
	cc, err := exec.LookPath("gcc")
	tmp := t.TempDir()
	src, bin := filepath.Join(tmp, "reader.c"), filepath.Join(tmp, "reader")
	if err == nil {
		os.WriteFile(src, []byte(reader), 0o600)
		err = exec.Command(cc, "-o", bin, src, "-ledf").Run()
	}
	if err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal("gcc and libedf-dev are needed here")
		}
		t.Skip("gcc or libedf-dev is not installed")
	}
	dir, truth := write(t, Options{RecordingSeconds: 350})
	_, r := theEDF(t, truth)
	out, err := exec.Command(bin, filepath.Join(dir, r.File)).Output()
	if err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	want := "2 signals, 350 s\n2 start\n61 tube 1 open\n128 swallowed\n205 tube changed\n300 cough\n341 tube 2 closed\n"
	if got := string(out); strings.TrimSpace(got) != strings.TrimSpace(want) {
		t.Errorf("EDFlib sees\n%s\nwant\n%s", got, want)
	}
}
