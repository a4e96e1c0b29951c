//go:build unix && !solaris && !aix

package media_test

import (
	"os"
	"os/exec"
	"sync"
	"testing"

	"outbreath/pack/media"
)

// TestReleasedWhileProgramsStart: what was released is free at once, also while this
// process starts other programs.
func TestReleasedWhileProgramsStart(t *testing.T) {
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	root, err := os.OpenRoot(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	defer root.Close()
	stop := make(chan struct{})
	var starters sync.WaitGroup
	for range 4 {
		starters.Go(func() {
			for {
				select {
				case <-stop:
					return
				default:
					if err := exec.Command(self, "-test.run=^$").Run(); err != nil {
						t.Error(err)
						return
					}
				}
			}
		})
	}
	for i := range 20_000 {
		release, held, err := media.Hold(root)
		if err != nil || !held {
			t.Errorf("%d: held %v, %v", i, held, err)
			break
		}
		release()
	}
	close(stop)
	starters.Wait()
}
