package service

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/binary"
	"slices"
	"time"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	faultv1 "needlebook/gen/needlebook/fault/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	tracev1 "needlebook/gen/needlebook/trace/v1"
	"needlebook/internal/fault"
	"needlebook/internal/record"
)

// defaultExportPage is how many bytes a piece holds when the request does not say.
const defaultExportPage = 1_000_000

// exportMark is where a piece ended: the moment that the whole was made for, its hash, and how much of it is out.
type exportMark struct {
	at     time.Time
	sum    [sha256.Size]byte
	offset uint64
}

const exportMarkBytes = 8 + sha256.Size + 8

func (m exportMark) bytes() []byte {
	b := binary.BigEndian.AppendUint64(nil, uint64(m.at.UnixMilli()))
	return binary.BigEndian.AppendUint64(append(b, m.sum[:]...), m.offset)
}

// readExportMark reads what bytes wrote; the token's tag says that it came from here.
func readExportMark(b []byte) (m exportMark, err error) {
	if len(b) != exportMarkBytes {
		return m, badPage()
	}
	m.at = time.UnixMilli(int64(binary.BigEndian.Uint64(b))).UTC()
	copy(m.sum[:], b[8:])
	m.offset = binary.BigEndian.Uint64(b[8+sha256.Size:])
	return m, nil
}

// ExportPatient writes a person's records, those linked to hers among them, in a form for people or for other systems. Each piece is cut from the whole,
// made anew; a piece of anything but the whole that the first piece was cut from is refused with STALE_READ. Who may read each record is asked as for
// reading; whether it may leave as an export, for each record of the person.
func (h *tracing) ExportPatient(ctx context.Context, m *tracev1.ExportPatientRequest) (*tracev1.ExportPatientResponse, error) {
	if m.GetIncludePhotos() {
		return nil, fault.New(faultv1.Reason_REASON_INVALID_FIELD, "include_photos", "true", "false: images are exported with everything, at the server's console")
	}
	d, err := h.open(ctx)
	if err != nil {
		return nil, err
	}
	l, err := d.list(ctx, m, m.GetPageToken())
	if err != nil {
		return nil, err
	}
	mark := exportMark{at: d.Now().UTC().Truncate(time.Second)}
	if len(l.at) > 0 {
		if mark, err = readExportMark(l.at); err != nil {
			return nil, err
		}
	}
	x, err := d.exported(ctx, m, mark.at)
	if err != nil {
		return nil, err
	}
	file, err := x.file(m.GetFormat())
	if err != nil {
		return nil, err
	}
	resp, err := file.piece(l, mark, int(m.GetPageSize()))
	if err != nil {
		return nil, err
	}
	return resp, d.enterAll(ctx, x.entries(len(l.at) == 0, m.GetReason()))
}

// exportFile is a whole export.
type exportFile struct {
	media, name string
	data        []byte
}

// piece cuts the next piece from the whole.
func (f exportFile) piece(l listing, mark exportMark, size int) (*tracev1.ExportPatientResponse, error) {
	sum := sha256.Sum256(f.data)
	total := uint64(len(f.data))
	if len(l.at) > 0 && (sum != mark.sum || mark.offset >= total) {
		return nil, fault.New(faultv1.Reason_REASON_STALE_READ, "page_token", "", "the first piece again: the records changed since")
	}
	if size == 0 {
		size = defaultExportPage
	}
	end := min(mark.offset+uint64(size), total)
	resp := &tracev1.ExportPatientResponse{MediaType: f.media, FileName: f.name, Data: f.data[mark.offset:end], TotalBytes: int64(total), Sha256: sum[:]}
	if end < total {
		resp.NextPageToken = l.token(exportMark{mark.at, sum, end}.bytes())
	}
	return resp, nil
}

// exporting is what an export of one person is made of.
type exporting struct {
	*desk
	ctx    context.Context
	org    Organisation
	at     time.Time
	people []string
	// own are the records about the person, others those that they name: vials, clinics, staff and the like.
	own, others []*chartv1.RecordView
	read        []touched // of own
}

// exported gathers a person's records. That one of them may not leave refuses the whole: an export that leaves out a part would pass for the whole.
func (d *desk) exported(ctx context.Context, m *tracev1.ExportPatientRequest, at time.Time) (*exporting, error) {
	key, err := readID(optionsv1.RecordKind_RECORD_KIND_PATIENT, "patient_id", m.GetPatientId())
	if err != nil {
		return nil, err
	}
	x := &exporting{desk: d, ctx: ctx, at: at}
	if x.org, err = d.organisation(ctx, d.call.principal.Org); err != nil {
		return nil, err
	}
	if d.index.get(key) == nil {
		return nil, notFound()
	}
	persons := d.onePerson(key.ID)
	for _, id := range persons {
		f := d.index.get(record.Key{Kind: optionsv1.RecordKind_RECORD_KIND_PATIENT, ID: id})
		if f == nil {
			continue // linked to a record that never came
		}
		if _, err := d.decide(ctx, f); err != nil {
			return nil, err
		}
		x.people = append(x.people, id.String())
	}
	return x, x.gather(persons)
}

// gather reads the records of the person, and those that they name.
func (x *exporting) gather(persons []record.ID) error {
	reader := *x.desk
	asReader := *x.call
	asReader.action = optionsv1.Action_ACTION_READ_CHART
	reader.call = &asReader
	for _, id := range persons {
		patient := record.Key{Kind: optionsv1.RecordKind_RECORD_KIND_PATIENT, ID: id}
		if x.index.get(patient) == nil {
			continue // linked to a record that never came
		}
		if err := x.take(&reader, patient); err != nil {
			return err
		}
		for after := ""; ; {
			batch := x.index.some(string(byPatient)+string(id[:]), after, indexBatch)
			if len(batch) == 0 {
				break
			}
			for _, f := range batch {
				after = f.key
				if f.facts.Key.Kind == optionsv1.RecordKind_RECORD_KIND_VIAL {
					continue // other people's as well
				}
				if err := x.take(&reader, f.facts.Key); err != nil {
					return err
				}
			}
		}
	}
	return x.named(&reader)
}

// take reads one record about the person.
func (x *exporting) take(reader *desk, k record.Key) error {
	if slices.ContainsFunc(x.own, func(v *chartv1.RecordView) bool { return keyOfView(v) == k }) {
		return nil
	}
	r, t, err := reader.read(x.ctx, k)
	if err != nil {
		return err
	}
	v, err := x.viewOf(x.ctx, r)
	if err != nil {
		return err
	}
	x.own, x.read = append(x.own, v), append(x.read, t)
	return nil
}

// entries is what the audit log keeps: the first piece has an entry for each record, a later one for the patient alone; each with the reason.
func (x *exporting) entries(first bool, reason string) []touched {
	all := slices.Clone(x.read)
	if !first {
		all = slices.DeleteFunc(all, func(t touched) bool { return t.kind != optionsv1.RecordKind_RECORD_KIND_PATIENT })
	}
	for i := range all {
		all[i].remark = reason
	}
	return all
}

// sorted orders views by kind and id, so that the same records give the same bytes.
func sorted(views []*chartv1.RecordView) []*chartv1.RecordView {
	slices.SortFunc(views, func(a, b *chartv1.RecordView) int {
		return bytes.Compare(keyBytes(keyOfView(a)), keyBytes(keyOfView(b)))
	})
	return views
}
