package pack

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"sync"

	"outbreath/pack/durable"
	"outbreath/pack/media"
)

// A target is one medium that is sealed onto.
type target struct {
	fs            media.FS
	media         string       // as the person named it
	number, final string       // of the shipment; its folder, media/number
	folder        media.Folder // of media; nil: not opened
	info          fs.FileInfo  // of media
	free          int64        // bytes at the start; -1: unknown
	stage         media.Folder // the hidden folder; nil: not begun
	temp          string       // its name
	release       func()       // of the hold on stage
	parts         *media.Parts
	written       []media.Part
	readBack      bool
	named         bool // stage has the name number
	stuck         bool // and could not be taken away again
}

// look refuses a medium that cannot take the shipment. It changes nothing; with
// tidy, it first removes what killed runs left there.
func (t *target) look(tidy bool) (err error) {
	if t.folder, err = t.fs.Open(t.media); err != nil {
		return mediaError(t.media, err)
	}
	if t.info, err = t.folder.Root().Stat("."); err != nil {
		return mediaError(t.media, durable.Plain(t.folder.Root(), err))
	}
	if err := absent(t.folder.Root(), t.number); err != nil {
		return err
	}
	if tidy {
		if err := sweep(t.folder.Root()); err != nil {
			return mediaError(t.media, err)
		}
	}
	if t.free, err = t.folder.Free(); err != nil {
		return mediaError(t.media, err)
	}
	return nil
}

// begin makes the hidden folder. From now on all of the shipment is written and read
// through its handle, so that nothing that gets its name can lead elsewhere.
func (t *target) begin() error {
	random := make([]byte, 8)
	rand.Read(random)
	temp := ".outbreath-" + t.number + "-" + hex.EncodeToString(random)
	stage, err := t.folder.Mkdir(temp)
	if err != nil {
		return mediaError(t.media, err)
	}
	t.stage, t.temp = stage, temp
	release, _, err := media.Hold(stage.Root())
	if err != nil {
		return mediaError(t.media, err)
	}
	t.release = release
	return nil
}

// write writes a small file and reads it back.
func (t *target) write(ctx context.Context, name string, data []byte) error {
	if err := media.WriteFile(t.stage, name, data); err != nil {
		return mediaError(t.media, err)
	}
	return t.check(ctx, media.Part{Name: name, Bytes: int64(len(data)), SHA256: sha256.Sum256(data)})
}

// check reads a file back.
func (t *target) check(ctx context.Context, q media.Part) error {
	dropped, err := media.ReadBack(ctx, t.stage, q.Name, q.SHA256, q.Bytes)
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
	err := durable.NameFolder(t.folder.Root(), t.stage.Root(), t.temp, t.number, t.folder.Rename)
	if errors.Is(err, fs.ErrExist) {
		return &ExistsError{Folder: t.final}
	}
	if err != nil {
		return mediaError(t.media, err)
	}
	t.named = true
	if err := t.folder.Sync(); err != nil {
		return mediaError(t.media, err)
	}
	return nil
}

// end releases the medium. After a failure nothing of this run is left there;
// a pulled stick cannot be cleaned, and the next run sweeps it.
func (t *target) end(failed bool) {
	if t.folder == nil {
		return
	}
	defer t.folder.Close()
	if t.stage == nil {
		return
	}
	defer t.stage.Close()
	if failed {
		if t.parts != nil {
			t.parts.Abort() // closes the file; the folder goes in any case
		}
		if t.named {
			t.stuck = durable.Rename(t.folder.Root(), t.number, t.temp) != nil
		}
		if !t.stuck {
			durable.RemoveFolder(t.folder.Root(), t.stage.Root(), t.temp)
		}
	}
	if t.release != nil {
		t.release()
	}
}

// absent says that nothing in root has that name, or an *ExistsError.
func absent(root *os.Root, name string) error {
	_, err := durable.Lstat(root, name)
	path := filepath.Join(root.Name(), name)
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
			all = &MediaError{Path: all.Path, Fault: m.Fault, Err: errors.Join(all.Err, m.Err),
				what: all.words() + "; " + m.Error()}
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
		return 0, ErrParts
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
