package pack

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"sync"

	"outbreath/pack/durable"
	"outbreath/pack/media"
)

// A target is one medium that is sealed onto.
type target struct {
	fs                  media.FS
	media, final, stage string
	root                *os.Root    // of media
	info                fs.FileInfo // of media
	free                int64       // bytes at the start; -1: unknown
	release             func()      // of the hold on stage; nil: not begun
	parts               *media.Parts
	written             []media.Part
	readBack            bool
	named               bool // stage has the name final
	stuck               bool // and could not be taken away again
}

// look refuses a medium that cannot take the shipment. It changes nothing; with
// tidy, it first removes what killed runs left there.
func (t *target) look(tidy bool) (err error) {
	if t.root, err = durable.OpenFolder(t.media); err != nil {
		return mediaError(t.media, err)
	}
	if t.info, err = t.root.Stat("."); err != nil {
		return mediaError(t.media, err)
	}
	if err := absent(t.final); err != nil {
		return err
	}
	if tidy {
		if err := sweep(t.root); err != nil {
			return mediaError(t.media, err)
		}
	}
	if t.free, err = t.fs.Free(t.media); err != nil {
		return mediaError(t.media, err)
	}
	return nil
}

// begin makes the hidden folder.
func (t *target) begin(number string) error {
	random := make([]byte, 8)
	rand.Read(random)
	stage := filepath.Join(t.media, ".outbreath-"+number+"-"+hex.EncodeToString(random))
	if err := t.fs.Mkdir(stage); err != nil {
		return mediaError(t.media, err)
	}
	t.stage = stage
	root, err := durable.Folder(t.root, filepath.Base(stage))
	if err != nil {
		return mediaError(t.media, err)
	}
	defer root.Close()
	release, _, err := media.Hold(root)
	if err != nil {
		return mediaError(t.media, err)
	}
	t.release = release
	return nil
}

// write writes a small file and reads it back.
func (t *target) write(ctx context.Context, name string, data []byte) error {
	if err := media.WriteFile(t.fs, t.stage, name, data); err != nil {
		return mediaError(t.media, err)
	}
	return t.check(ctx, media.Part{Name: name, Bytes: int64(len(data)), SHA256: sha256.Sum256(data)})
}

// check reads a file back.
func (t *target) check(ctx context.Context, q media.Part) error {
	dropped, err := media.ReadBack(ctx, t.fs, filepath.Join(t.stage, q.Name), q.SHA256, q.Bytes)
	if ctx.Err() != nil {
		return context.Cause(ctx)
	}
	if err != nil {
		return mediaError(t.media, err)
	}
	t.readBack = t.readBack && dropped
	return nil
}

// commit gives the folder its name.
func (t *target) commit() error {
	if err := absent(t.final); err != nil {
		return err
	}
	if err := t.fs.Rename(t.stage, t.final); err != nil {
		if errors.Is(err, fs.ErrExist) {
			return &ExistsError{Folder: t.final}
		}
		return mediaError(t.media, err)
	}
	t.named = true
	if err := t.fs.SyncDir(t.media); err != nil {
		return mediaError(t.media, err)
	}
	return nil
}

// end releases the medium. After a failure nothing of this run is left there;
// a pulled stick cannot be cleaned, and the next run sweeps it.
func (t *target) end(failed bool) {
	if failed {
		if t.parts != nil {
			t.parts.Abort() // closes the file; the folder goes in any case
		}
		if t.named {
			t.stuck = t.root.Rename(filepath.Base(t.final), filepath.Base(t.stage)) != nil
		}
		if t.stage != "" && !t.stuck {
			t.root.RemoveAll(filepath.Base(t.stage))
		}
	}
	if t.release != nil {
		t.release()
	}
	if t.root != nil {
		t.root.Close()
	}
}

// absent says that there is nothing at path, or an *ExistsError.
func absent(path string) error {
	_, err := os.Lstat(path)
	switch {
	case err == nil:
		return &ExistsError{Folder: path}
	case !errors.Is(err, fs.ErrNotExist):
		return mediaError(path, err)
	}
	return nil
}

// each does something on all media at once and returns every error.
func each(targets []*target, do func(*target) error) error {
	if len(targets) == 1 {
		return do(targets[0])
	}
	errs := make([]error, len(targets))
	var running sync.WaitGroup
	for i, t := range targets {
		running.Go(func() { errs[i] = do(t) })
	}
	running.Wait()
	for _, err := range errs {
		if _, ok := errors.AsType[*MediaError](err); !ok && err != nil {
			return err // a cancelled context is no media failure
		}
	}
	return bothErrors(errs)
}

// bothErrors joins what media said into one *MediaError.
func bothErrors(errs []error) error {
	var all *MediaError
	for _, err := range errs {
		m, ok := errors.AsType[*MediaError](err)
		switch {
		case !ok:
		case all == nil:
			all = m
		default:
			all = &MediaError{Path: all.Path, Do: m.Do, Err: errors.Join(all.Err, m.Err), what: all.words() + "; " + m.Error()}
		}
	}
	if all == nil {
		return nil
	}
	return all
}

// A mediaWriter writes the parts of the archive onto every medium, makes each
// error a *MediaError, and counts.
type mediaWriter struct {
	targets []*target
	most    int64 // bytes that fit into all parts; 0: no limit
	written int64
}

func (w *mediaWriter) Write(b []byte) (int, error) {
	if w.most > 0 && w.written+int64(len(b)) > w.most {
		return 0, fmt.Errorf("the archive would have more than %d parts: choose a larger part size", maxParts)
	}
	err := each(w.targets, func(t *target) error {
		if _, err := t.parts.Write(b); err != nil {
			return mediaError(t.media, err)
		}
		return nil
	})
	if err != nil {
		return 0, err
	}
	w.written += int64(len(b))
	return len(b), nil
}
