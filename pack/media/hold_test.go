package media

import (
	"os"
	"runtime"
	"testing"
)

func TestHold(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("folders cannot be locked here")
	}
	root, err := os.OpenRoot(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	release, held, err := Hold(root)
	if err != nil || !held {
		t.Fatal(held, err)
	}
	if _, again, err := Hold(root); again || err != nil {
		t.Errorf("a folder in use was held again: %v, %v", again, err)
	}
	release()
	if _, again, err := Hold(root); !again || err != nil {
		t.Errorf("a folder that was released cannot be held: %v, %v", again, err)
	}
	root.Close()
	if _, _, err := Hold(root); err == nil {
		t.Error("a folder that was closed was held")
	}
}
