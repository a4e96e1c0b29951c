package pack

import (
	"context"
	"errors"
	"io"
	"os"
	"strings"
	"testing"

	"outbreath/deid"
	"outbreath/pack/media"
)

// What looks like an identifier in the finished bag stops the seal, and where a
// site let it through, the laboratory is told.
func TestSearchAgain(t *testing.T) {
	b := newBench(t)
	p := sample(t, 2, 100)
	const phone = "+1 646 555 0143" // set aside for fiction
	for i, f := range p.files {
		if kindOf(f.Name) != treatmentFile {
			continue
		}
		text := `{"remark": "call ` + phone + `"}`
		p.files[i] = deid.File{Name: f.Name, Size: int64(len(text)), Open: func() (io.ReadCloser,
			error) {
			return io.NopCloser(strings.NewReader(text)), nil
		}}
	}
	dir := t.TempDir()
	_, err := seal(context.Background(), media.OS{}, p, b.sealOptions(dir))
	found, ok := errors.AsType[*deid.InspectionError](err)
	if !ok || len(found.Findings) != 1 || found.Findings[0].Pointer != "/remark" ||
		strings.Contains(err.Error(), phone) {
		t.Fatalf("sealed, or stopped for another reason: %v", err)
	}
	if left, _ := os.ReadDir(dir); len(left) > 0 {
		t.Errorf("%v was left on the medium", left)
	}

	f := forge(t, b)
	f.at(t, "data/treatment.json").data = `{"study": "LARK-2", "site": "07", "remark": "call ` + phone + `"}`
	v := b.mustVerify(t, f.write(t, b))
	last := v.Checks[len(v.Checks)-1]
	if v.Decision != Discrepancies || last.Name != checkSearch || last.OK ||
		!strings.Contains(last.Detail, "data/treatment.json") || strings.Contains(last.Detail, phone) {
		t.Errorf("%s, %+v", v.Decision, last)
	}
	f = forge(t, b)
	if v := b.mustVerify(t, f.write(t, b)); v.Decision != Accepted {
		t.Errorf("%+v", v)
	}
}
