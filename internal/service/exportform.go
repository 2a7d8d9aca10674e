package service

import (
	"archive/zip"
	"bytes"
	"encoding/hex"
	"encoding/json"
	"time"

	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	tracev1 "needlebook/gen/needlebook/trace/v1"
	"needlebook/internal/document"
	"needlebook/internal/export"
)

// recordsMediaType is that of JSON lines, of which no standard speaks.
const recordsMediaType = "application/x-ndjson"

// file writes the export in a form.
func (x *exporting) file(format tracev1.ExportFormat) (exportFile, error) {
	views := sorted(append(append([]*chartv1.RecordView{}, x.own...), x.others...))
	out, err := export.New(export.Scope{Organisation: export.Organisation{ID: x.org.ID.String(), Name: x.org.Name}, Patients: x.people}, views)
	if err != nil {
		return exportFile{}, err
	}
	var b bytes.Buffer
	switch format {
	case tracev1.ExportFormat_EXPORT_FORMAT_FHIR_R4_NDJSON:
		err = out.WriteNDJSON(&b)
		return exportFile{export.NDJSONMediaType, "patient.ndjson", b.Bytes()}, err
	case tracev1.ExportFormat_EXPORT_FORMAT_CSV:
		err = writeTables(&b, out)
		return exportFile{"application/zip", "patient-tables.zip", b.Bytes()}, err
	case tracev1.ExportFormat_EXPORT_FORMAT_RECORDS_JSON:
		err = x.writeRecords(&b)
		return exportFile{recordsMediaType, "patient-records.jsonl", b.Bytes()}, err
	}
	return x.document(views)
}

// zipTime stands for every file's time: an archive of the same tables has the same bytes.
func zipTime() time.Time { return time.Date(1980, 1, 1, 0, 0, 0, 0, time.UTC) }

// writeTables writes all tables into one archive.
func writeTables(b *bytes.Buffer, out *export.Export) error {
	z := zip.NewWriter(b)
	for _, t := range export.Tables() {
		w, err := z.CreateHeader(&zip.FileHeader{Name: string(t) + ".csv", Method: zip.Deflate, Modified: zipTime()})
		if err != nil {
			return err
		}
		if err := out.WriteCSV(w, t, export.CSVOptions{}); err != nil {
			return err
		}
	}
	return z.Close()
}

// recordLine is a record as a line of JSON.
type recordLine struct {
	Kind    string            `json:"kind"`
	ID      string            `json:"id"`
	Digest  string            `json:"digest,omitempty"` // of a record that is whole here
	View    json.RawMessage   `json:"view"`
	History []json.RawMessage `json:"history,omitempty"` // of a record of the person, oldest first
}

// writeRecords writes the records as they are held: those of the person with their history, those that they name as they are now.
func (x *exporting) writeRecords(b *bytes.Buffer) error {
	for i, v := range append(sorted(x.own), sorted(x.others)...) {
		if err := x.writeRecord(b, v, i < len(x.own)); err != nil {
			return err
		}
	}
	return nil
}

func (x *exporting) writeRecord(b *bytes.Buffer, v *chartv1.RecordView, whole bool) error {
	k := keyOfView(v)
	line := recordLine{Kind: k.Kind.String(), ID: k.ID.String()}
	shown := proto.CloneOf(v)
	shown.Context = nil // stands for what this caller saw; of no use outside
	for _, c := range shown.GetConflicts() {
		c.Context = nil
	}
	if !whole {
		shown.Digest = nil
	}
	line.Digest = hex.EncodeToString(shown.GetDigest())
	var err error
	if line.View, err = compactJSON(shown); err != nil {
		return err
	}
	if whole {
		if line.History, err = x.historyLines(v); err != nil {
			return err
		}
	}
	j, err := json.Marshal(line)
	b.Write(append(j, '\n'))
	return err
}

// historyLines is every edit of a record as it came, oldest first.
func (x *exporting) historyLines(v *chartv1.RecordView) (out []json.RawMessage, err error) {
	k := keyOfView(v)
	r, err := x.ledger.Read(x.ctx, x.desk.org, k)
	if err != nil {
		return nil, err
	}
	entries, err := x.ledger.History(x.ctx, x.desk.org, k)
	for i := range entries {
		e := &entries[i]
		m := x.chart.History(&e.Edit, e.Sequence, statusOf(r, &e.Edit))
		if e.ReceivedAtMS != 0 {
			m.ReceivedAt = timestamppb.New(time.UnixMilli(e.ReceivedAtMS))
		}
		j, err := compactJSON(m)
		if err != nil {
			return nil, err
		}
		out = append(out, j)
	}
	return out, err
}

// compactJSON is a message as JSON without the blanks that its encoder varies.
func compactJSON(m proto.Message) (json.RawMessage, error) {
	j, err := protojson.MarshalOptions{UseProtoNames: true}.Marshal(m)
	if err != nil {
		return nil, err
	}
	var b bytes.Buffer
	err = json.Compact(&b, j)
	return b.Bytes(), err
}

// document writes the treatment record. Its time is that of the first piece.
func (x *exporting) document(views []*chartv1.RecordView) (exportFile, error) {
	b, err := document.Write(document.Input{Organisation: x.org.Name, At: x.at, Patients: x.people, Views: views})
	return exportFile{document.MediaType, "patient.pdf", b}, err
}
