package media

import (
	"runtime"
	"testing"
)

func TestHold(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("folders cannot be locked here")
	}
	dir := t.TempDir()
	release, held, err := Hold(dir)
	if err != nil || !held {
		t.Fatal(held, err)
	}
	if _, again, err := Hold(dir); again || err != nil {
		t.Errorf("a folder in use was held again: %v, %v", again, err)
	}
	release()
	if _, again, err := Hold(dir); !again || err != nil {
		t.Errorf("a folder that was released cannot be held: %v, %v", again, err)
	}
	if _, _, err := Hold(dir + "/none"); err == nil {
		t.Error("a folder that is not there was held")
	}
}
