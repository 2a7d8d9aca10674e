package server

import (
	"bytes"
	"context"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"time"

	"github.com/google/uuid"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	accessv1 "needlebook/gen/needlebook/access/v1"
	chartv1 "needlebook/gen/needlebook/chart/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	"needlebook/internal/audit"
	"needlebook/internal/blob"
	"needlebook/internal/chart"
	"needlebook/internal/durable"
	"needlebook/internal/export"
	"needlebook/internal/ledger"
	"needlebook/internal/record"
	"needlebook/internal/schema"
	"needlebook/internal/service"
	"needlebook/internal/store"
	"needlebook/internal/store/boltstore"
)

// Files of an export of everything, beside manifestFile, photos and the authority (docs/export-all.md).
const (
	storeLines     = "store.jsonl"
	exportVersion  = 1
	exportStaging  = ".exporting"
	exportEntry    = "console/export"
	exportRecords  = "records"
	exportAuditLog = "audit.jsonl"
	exportFHIR     = "fhir.ndjson"
	exportTables   = "tables"
)

// ExportRequest says where an export of everything goes: a folder that does not exist yet.
type ExportRequest struct {
	To string `json:"to"`
}

// Exported is an export of everything that was made.
type Exported struct {
	To       string `json:"to"`
	Sequence uint64 `json:"sequence"` // the end of the ledger's log
	Records  int    `json:"records"`
	Photos   int    `json:"photos"`
	Files    int    `json:"files"`
	Bytes    int64  `json:"bytes"`
}

// ExportManifest is what is in an export of everything. It names no time, so that the same data give the same files.
type ExportManifest struct {
	Version  int    `json:"version"` // 1
	Sequence uint64 `json:"sequence"`
	Records  int    `json:"records"`
	Files    []File `json:"files"` // ascending by name
}

// ExportFolder exports everything in a data folder whose server does not run; a boltstore.LockedError when it does.
func ExportFolder(ctx context.Context, data string, q ExportRequest, now func() time.Time) (Exported, error) {
	st, err := openExisting(data, now, nil)
	if err != nil {
		return Exported{}, err
	}
	blobs, err := blob.Open(blob.Config{Path: filepath.Join(data, photoFolder)})
	if err != nil {
		return Exported{}, errors.Join(err, st.Close())
	}
	out, err := exporter{data: data, store: st, live: st, blobs: blobs, now: now}.export(ctx, q)
	return out, errors.Join(err, st.Close())
}

// Export exports everything of a server that runs, from a copy of its store, so that writing goes on.
func (s *Server) Export(ctx context.Context, q ExportRequest) (Exported, error) {
	scratch, err := os.MkdirTemp(s.cfg.Data, scratchIntro+"export-")
	if err != nil {
		return Exported{}, fmt.Errorf("make room for a copy: %w", err)
	}
	defer os.RemoveAll(scratch)
	if err := copyTo(ctx, s.store, filepath.Join(scratch, storeFile)); err != nil {
		return Exported{}, fmt.Errorf("copy store: %w", err)
	}
	copied, err := openStore(Config{Data: scratch, Now: s.cfg.Now, MinFreeBytes: -1})
	if err != nil {
		return Exported{}, err
	}
	out, err := exporter{data: s.cfg.Data, store: copied, live: s.store, blobs: s.blobs, now: s.cfg.Now}.export(ctx, q)
	return out, errors.Join(err, copied.Close())
}

// Export has the server export everything.
func (c *Console) Export(ctx context.Context, q ExportRequest) (Exported, error) {
	return ask[Exported](ctx, c, "export", q)
}

// exporter writes a data folder out. store is what is read and does not change meanwhile; live is where the audit log of the server is.
type exporter struct {
	data        string
	store, live *boltstore.Store
	blobs       *blob.Dir
	now         func() time.Time
}

// export writes into a folder of another name, which gets its own when all of it is on the disk.
func (x exporter) export(ctx context.Context, q ExportRequest) (out Exported, err error) {
	if q.To == "" {
		return out, &ConfigError{"out", "", "a folder"}
	}
	staging := q.To + exportStaging
	for _, path := range []string{q.To, staging} {
		if _, err := os.Lstat(path); err == nil {
			return out, &ConfigError{"out", path, "a folder that does not exist yet"}
		} else if !errors.Is(err, fs.ErrNotExist) {
			return out, fmt.Errorf("export to %s: %w", path, err)
		}
	}
	if err := durable.MkdirAll(staging, 0o700); err != nil {
		return out, fmt.Errorf("make folder: %w", err)
	}
	defer os.RemoveAll(staging) // gone already when it got its name
	w := &exportWriter{exporter: x, ctx: ctx, dir: staging}
	if err := w.all(); err != nil {
		return out, fmt.Errorf("export: %w", err)
	}
	if err := x.note(ctx, w.orgs); err != nil {
		return out, fmt.Errorf("note the export: %w", err)
	}
	if err := errors.Join(os.Rename(staging, q.To), durable.SyncDir(filepath.Dir(q.To))); err != nil {
		return out, fmt.Errorf("name the export: %w", err)
	}
	w.done.To = q.To
	return w.done, nil
}

// note enters the export into the audit log of each organisation. It is not in the export itself.
func (x exporter) note(ctx context.Context, orgs []service.Organisation) error {
	return x.live.Update(ctx, func(w store.Writer) error {
		for _, o := range orgs {
			e := audit.Entry{AtMS: x.now().UnixMilli(), Org: o.ID, Action: optionsv1.Action_ACTION_EXPORT, Procedure: exportEntry,
				Outcome: accessv1.AuditOutcome_AUDIT_OUTCOME_DONE, Remark: "everything, at the server's console"}
			if _, _, err := audit.Append(w, e); err != nil {
				return err
			}
		}
		return nil
	})
}

// exportWriter is an export while it is written.
type exportWriter struct {
	exporter
	ctx      context.Context
	dir      string
	ledger   *ledger.Ledger
	schema   *record.Schema
	chart    *chart.Chart
	orgs     []service.Organisation
	manifest ExportManifest
	done     Exported
}

func (w *exportWriter) all() (err error) {
	if w.ledger, err = openLedger(w.ctx, w.store, w.now); err != nil {
		return err
	}
	if w.schema, err = record.NewSchema(schema.Records()...); err != nil {
		return err
	}
	w.chart = chart.New(w.schema, nil)
	if w.orgs, err = service.OrganisationsIn(w.ctx, w.store); err != nil {
		return err
	}
	if w.manifest.Sequence, err = w.ledger.Sequence(w.ctx); err != nil {
		return err
	}
	for _, step := range []func() error{w.storeLines, w.organisations, w.auditLogs, w.photos, w.authority} {
		if err := step(); err != nil {
			return err
		}
	}
	return w.finish()
}

// file writes one file of the export and enters it into the manifest.
func (w *exportWriter) file(name string, fill func(io.Writer) error) error {
	path := filepath.Join(w.dir, filepath.FromSlash(name))
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		return err
	}
	f, err := os.OpenFile(path, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	if err != nil {
		return err
	}
	b := &summing{sum: newSum(), out: f}
	err = fill(b)
	if err == nil {
		err = f.Sync()
	}
	if err = errors.Join(err, f.Close()); err != nil {
		return fmt.Errorf("%s: %w", name, err)
	}
	w.manifest.Files = append(w.manifest.Files, File{Name: name, Bytes: b.n, SHA256: hex.EncodeToString(b.sum.Sum(nil))})
	w.done.Bytes += b.n
	return durable.SyncDir(filepath.Dir(path))
}

// storeLine is a key of the store with its value.
type storeLine struct {
	Key   []byte `json:"key"`
	Value []byte `json:"value"`
}

// storeLines writes the store: all that an import needs to be as this server is.
func (w *exportWriter) storeLines() error {
	return w.file(storeLines, func(out io.Writer) error {
		lines := json.NewEncoder(out)
		return w.store.View(w.ctx, func(r store.Reader) error {
			for table := 1; table <= 0xff; table++ {
				var hi []byte
				if table < 0xff {
					hi = []byte{byte(table) + 1}
				}
				if err := r.Scan([]byte{byte(table)}, hi, func(k, v []byte) error { return lines.Encode(storeLine{k, v}) }); err != nil {
					return err
				}
			}
			return nil
		})
	})
}

// organisations writes each organisation's records, as they are held and in the forms for other systems.
func (w *exportWriter) organisations() error {
	for _, o := range w.orgs {
		var views []*chartv1.RecordView
		for _, kind := range w.schema.Kinds() {
			more, err := w.kind(o, kind)
			if err != nil {
				return err
			}
			views = append(views, more...)
		}
		if err := w.forOthers(o, views); err != nil {
			return err
		}
	}
	return nil
}

// kindName is how files name a kind of record.
func kindName(kind record.Kind) string {
	return strings.ToLower(strings.TrimPrefix(kind.String(), "RECORD_KIND_"))
}

// kind writes the records of one kind.
func (w *exportWriter) kind(o service.Organisation, kind record.Kind) (views []*chartv1.RecordView, err error) {
	var keys []record.Key
	if err := w.ledger.Scan(w.ctx, record.ID(o.ID), kind, func(st *record.State) error { keys = append(keys, st.Key); return nil }); err != nil || len(keys) == 0 {
		return nil, err
	}
	err = w.file(o.ID.String()+"/"+exportRecords+"/"+kindName(kind)+".jsonl", func(out io.Writer) error {
		for _, k := range keys {
			v, err := w.record(out, o, k)
			if err != nil {
				return fmt.Errorf("%v: %w", k, err)
			}
			views = append(views, v)
		}
		return nil
	})
	return views, err
}

// RecordLine is a record of an export of everything, a line of JSON.
type RecordLine struct {
	ID      string          `json:"id"`
	Digest  string          `json:"digest"` // of its state, SHA-256 in hexadecimal
	View    json.RawMessage `json:"view"`
	History []HistoryLine   `json:"history"` // oldest first
}

// HistoryLine is an edit as it came.
type HistoryLine struct {
	Sequence   uint64          `json:"sequence"`
	Effect     string          `json:"effect"`                     // applied, held, waiting or duplicate
	ReceivedMS int64           `json:"received_unix_ms,omitempty"` // by the server's clock
	Edit       []byte          `json:"edit"`                       // its canonical bytes (docs/format.md)
	Read       json.RawMessage `json:"read"`                       // what they say
}

func (w *exportWriter) record(out io.Writer, o service.Organisation, k record.Key) (*chartv1.RecordView, error) {
	r, err := w.ledger.Read(w.ctx, record.ID(o.ID), k)
	if err != nil {
		return nil, err
	}
	entries, err := w.ledger.History(w.ctx, record.ID(o.ID), k)
	if err != nil {
		return nil, err
	}
	source := chart.Source{State: r.State, Held: r.Held}
	for i := range entries {
		source.Later = append(source.Later, entries[i].Edit)
	}
	v, err := w.chart.View(source)
	if err != nil {
		return nil, err
	}
	digest := r.State.Digest()
	line := RecordLine{ID: k.ID.String(), Digest: hex.EncodeToString(digest[:])}
	if line.View, err = steadyJSON(v); err != nil {
		return nil, err
	}
	for i := range entries {
		e := &entries[i]
		read, err := steadyJSON(w.chart.History(&e.Edit, e.Sequence, 0))
		if err != nil {
			return nil, err
		}
		line.History = append(line.History, HistoryLine{e.Sequence, e.Effect, e.ReceivedAtMS, e.Edit.AppendBinary(nil), read})
	}
	w.manifest.Records++
	return v, json.NewEncoder(out).Encode(line)
}

// steadyJSON is a message as JSON without the blanks that its encoder varies from build to build.
func steadyJSON(m proto.Message) (json.RawMessage, error) {
	j, err := protojson.MarshalOptions{UseProtoNames: true}.Marshal(m)
	if err != nil {
		return nil, err
	}
	var b bytes.Buffer
	err = json.Compact(&b, j)
	return b.Bytes(), err
}

// forOthers writes FHIR and tables.
func (w *exportWriter) forOthers(o service.Organisation, views []*chartv1.RecordView) error {
	out, err := export.New(export.Scope{Organisation: export.Organisation{ID: o.ID.String(), Name: o.Name}}, views)
	if err != nil {
		return err
	}
	if err := w.file(o.ID.String()+"/"+exportFHIR, out.WriteNDJSON); err != nil {
		return err
	}
	for _, t := range export.Tables() {
		err := w.file(o.ID.String()+"/"+exportTables+"/"+string(t)+".csv", func(b io.Writer) error { return out.WriteCSV(b, t, export.CSVOptions{}) })
		if err != nil {
			return err
		}
	}
	return nil
}

// auditLogs writes the audit log of each organisation, oldest first.
func (w *exportWriter) auditLogs() error {
	var orgs []uuid.UUID
	err := w.store.View(w.ctx, func(r store.Reader) (err error) {
		orgs, err = audit.Organisations(r)
		return err
	})
	for _, org := range orgs {
		if err == nil {
			err = w.file(org.String()+"/"+exportAuditLog, func(out io.Writer) error { return w.auditLog(out, org) })
		}
	}
	return err
}

// auditLine is an entry of the audit log with its place in the chain.
type auditLine struct {
	audit.Entry
	Previous string `json:"previous"`
	Hash     string `json:"hash"`
}

func (w *exportWriter) auditLog(out io.Writer, org uuid.UUID) error {
	var all []audit.Listed
	for before, more := uint64(0), true; more; more = before != 0 {
		err := w.store.View(w.ctx, func(r store.Reader) error {
			p, err := audit.List(r, audit.Query{Org: org, Before: before, Limit: 1000})
			all, before = append(all, p.Entries...), p.Next
			return err
		})
		if err != nil {
			return err
		}
	}
	lines := json.NewEncoder(out)
	for _, l := range slices.Backward(all) {
		if err := lines.Encode(auditLine{l.Entry, hex.EncodeToString(l.Previous[:]), hex.EncodeToString(l.Hash[:])}); err != nil {
			return err
		}
	}
	return nil
}

// photos copies the images.
func (w *exportWriter) photos() error {
	return w.blobs.Each(w.ctx, func(h blob.Hash, _ int64) error {
		w.done.Photos++
		return w.copy(photoName(h))
	})
}

// authority copies the clinic's own certificate authority.
func (w *exportWriter) authority() error {
	files, err := os.ReadDir(filepath.Join(w.data, authorityFolder))
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	for _, f := range files {
		if err == nil && !strings.HasPrefix(f.Name(), ".") {
			err = w.copy(authorityFolder + "/" + f.Name())
		}
	}
	return err
}

func (w *exportWriter) copy(name string) error {
	in, err := os.Open(filepath.Join(w.data, filepath.FromSlash(name)))
	if err != nil {
		return err
	}
	defer in.Close() // read only
	return w.file(name, func(out io.Writer) error { _, err := io.Copy(out, in); return err })
}

// finish writes the manifest, which names every file but itself.
func (w *exportWriter) finish() error {
	w.manifest.Version = exportVersion
	slices.SortFunc(w.manifest.Files, func(a, b File) int { return strings.Compare(a.Name, b.Name) })
	w.done.Sequence, w.done.Records, w.done.Files = w.manifest.Sequence, w.manifest.Records, len(w.manifest.Files)
	b, err := json.MarshalIndent(w.manifest, "", " ")
	if err != nil {
		return err
	}
	return durable.WriteFile(filepath.Join(w.dir, manifestFile), append(b, '\n'), 0o600)
}
