package sim

import (
	"context"
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"maps"
	"slices"
	"time"

	faultv1 "needlebook/gen/needlebook/fault/v1"
	syncv1 "needlebook/gen/needlebook/sync/v1"
	"needlebook/internal/blob"
	"needlebook/internal/causal"
	"needlebook/internal/fault"
	"needlebook/internal/ledger"
	"needlebook/internal/record"
	"needlebook/internal/store"
)

// idOf is an id by name.
func idOf(name string) record.ID {
	sum := sha256.Sum256([]byte(name))
	return record.ID(sum[:16])
}

// server is the one server: a disk that lasts, and a process on it that comes and goes.
type server struct {
	w       *world
	disk    *Disk
	store   *Store
	ledger  *ledger.Ledger
	schema  *record.Schema
	denied  map[record.ID]bool
	revoked map[record.ID]bool
	random  *stream
	// acked is the edits that were acknowledged, to tablets or to callers of the API, in the history that the disk now holds.
	acked   map[int64]bool
	pushed  map[causal.ReplicaID]uint64 // the end of the log when each replica last brought something
	backups []backup                    // kept, oldest first
	seq     uint64                      // an end that the log once had
	blobs   blobs
	// photos is the photos that were acknowledged whole, as acked is the edits.
	photos map[blob.Hash]bool
}

// backup is a copy of the disk that an operator keeps.
type backup struct {
	disk   *Disk
	seq    uint64
	acked  map[int64]bool
	pushed map[causal.ReplicaID]uint64
	noted  []uint64 // the backups that the copy itself knows of
	photos map[blob.Hash][]byte
	owed   map[blob.Hash]bool // the photos that were acknowledged when it was made
}

// stream is random bytes from a seed.
type stream struct{ seed, n uint64 }

func (s *stream) Read(b []byte) (int, error) {
	for rest := b; len(rest) > 0; {
		s.n++
		sum := sha256.Sum256(binary.BigEndian.AppendUint64(binary.BigEndian.AppendUint64([]byte("stream"), s.seed), s.n))
		rest = rest[copy(rest, sum[:]):]
	}
	return len(b), nil
}

func newServer(w *world, schema *record.Schema) *server {
	return &server{
		w: w, disk: &Disk{lag: w.seams.lag}, schema: schema, denied: map[record.ID]bool{}, revoked: map[record.ID]bool{},
		random: &stream{seed: w.seed}, acked: map[int64]bool{}, pushed: map[causal.ReplicaID]uint64{}, photos: map[blob.Hash]bool{},
	}
}

// boot begins a process on the disk.
func (s *server) boot() error {
	s.store = OpenStore(s.disk)
	var on store.Store = s.store
	if s.w.seams.store != nil {
		on = s.w.seams.store(s.w, on)
	}
	var err error
	s.ledger, err = ledger.Open(context.Background(), on, ledger.Config{
		Schema: s.schema, Authorise: s.authorise, Now: s.now, Random: s.random, Summarise: s.w.seams.folds.safety,
	})
	s.blobs.boot()
	return err
}

// now is the server's clock. It goes by the log, so that it is the same in every run.
func (s *server) now() time.Time { return time.UnixMilli(1_790_000_000_000 + int64(s.seq)) }

func (s *server) authorise(_ store.Reader, _ record.ID, e *record.Edit) *fault.Error {
	if s.denied[e.Author] {
		return fault.New(faultv1.Reason_REASON_AUTHOR_NOT_ALLOWED, "", "", "")
	}
	return nil
}

// tableOwners is where the simulated server keeps whose each replica is: beside the ledger, so that it is restored with it.
const tableOwners = 'O'

func (s *server) caller(device record.ID) ledger.Caller {
	owns := func(r store.Reader, replica causal.ReplicaID) error {
		if s.revoked[device] {
			return fault.New(faultv1.Reason_REASON_DEVICE_REVOKED, "", "", "")
		}
		owner, err := r.Get(append([]byte{tableOwners}, replica[:]...))
		if errors.Is(err, store.ErrNotFound) {
			return nil
		}
		if err == nil && string(owner) != string(device[:]) {
			return fault.New(faultv1.Reason_REASON_ACTOR_NOT_YOURS, "replica", "", "")
		}
		return err
	}
	return ledger.Caller{
		Org: s.w.org, Device: device, Owns: owns,
		Claim: func(w store.Writer, replica causal.ReplicaID) error {
			if err := owns(w, replica); err != nil {
				return err
			}
			return w.Put(append([]byte{tableOwners}, replica[:]...), device[:])
		},
		MayHold: func(r store.Reader, patient record.ID) error { return s.mayHold(r, heldBy{device, patient}) },
		Verify: func(statement, signature []byte) error {
			if string(signature) != string(seal(device, statement)) && !s.w.seams.anySignature {
				return errors.New("signature does not verify")
			}
			return nil
		},
	}
}

// seal stands for a device's signature.
func seal(device record.ID, statement []byte) []byte {
	sum := sha256.Sum256(append(device[:], statement...))
	return append(sum[:], sum[:]...)
}

// hello and exchange are calls over the network, as the server takes them.
func (s *server) hello(device record.ID, m *syncv1.HelloRequest) (*syncv1.HelloResponse, error) {
	resp, err := s.ledger.Hello(context.Background(), s.caller(device), m)
	return resp, s.after(err)
}

func (s *server) exchange(device record.ID, m *syncv1.ExchangeRequest) (*syncv1.ExchangeResponse, error) {
	take := func(m *syncv1.ExchangeRequest) (*syncv1.ExchangeResponse, error) {
		return s.ledger.Exchange(context.Background(), s.caller(device), m)
	}
	var resp *syncv1.ExchangeResponse
	var err error
	if s.w.seams.exchange != nil {
		resp, err = s.w.seams.exchange(s.w, device, m, take)
	} else {
		resp, err = take(m)
	}
	if err == nil {
		s.noteAcked(m)
	}
	return resp, s.after(err)
}

func (s *server) noteAcked(m *syncv1.ExchangeRequest) {
	if page := m.GetPage(); page != nil {
		for _, e := range page.GetEdits() {
			s.acked[e.GetAuthoredAtUnixMs()], s.w.everAcked[e.GetAuthoredAtUnixMs()] = true, true
		}
		s.pushed[causal.ReplicaID(m.GetReplica())] = s.end()
	}
}

// after begins a new process when the store has failed, as a supervisor would. What went wrong goes on to the caller.
func (s *server) after(err error) error {
	if s.store.Failed() {
		if bootErr := s.boot(); bootErr != nil {
			s.w.found("convergence", "the server does not start: %v", bootErr)
		}
	}
	return err
}

// end is the end of the log, as far as it can be read now.
func (s *server) end() uint64 {
	if seq, err := s.ledger.Sequence(context.Background()); err == nil {
		s.seq = seq
	}
	return s.seq
}

func (s *server) backup() {
	seq := s.end()
	if seq == 0 {
		return
	}
	noted := make([]uint64, 0, len(s.backups)+1)
	for _, b := range s.backups {
		noted = append(noted, b.seq)
	}
	b := backup{
		disk: s.disk.Snapshot(), seq: seq, acked: maps.Clone(s.acked), pushed: maps.Clone(s.pushed), noted: noted, photos: s.blobs.all(), owed: maps.Clone(s.photos),
	}
	if s.after(s.ledger.NoteBackup(context.Background(), seq, s.now())) == nil {
		s.backups = slices.DeleteFunc(s.backups, func(o backup) bool { return o.seq == seq })
		s.backups = append(s.backups, b)
	}
}

func (s *server) forget() {
	if len(s.backups) < 2 {
		return
	}
	// Where the answer is lost it may be forgotten all the same: it is not used any more.
	_ = s.after(s.ledger.ForgetBackup(context.Background(), s.backups[0].seq))
	s.backups = s.backups[1:]
}

// restore puts the disk back to a backup that is kept. Where tablets were copied, both sides must not lose the same counters: no server can tell then
// whose they were.
func (s *server) restore(which int, how string) {
	if len(s.backups) == 0 {
		return
	}
	b := s.backups[which%len(s.backups)]
	for r := range s.w.copied {
		if s.pushed[r] > b.seq {
			return
		}
	}
	s.w.count("restores")
	s.w.rememberShown()
	if how == "hand" {
		s.w.count("restores by hand")
	}
	s.disk = b.disk.Snapshot()
	s.restorePhotos(b, how)
	for at := range s.w.book.edits {
		s.w.lost[at] = s.w.lost[at] || !b.acked[at]
	}
	s.acked, s.pushed, s.seq = maps.Clone(b.acked), maps.Clone(b.pushed), b.seq
	if err := s.boot(); err != nil {
		s.w.found("convergence", "the restored server does not start: %v", err)
		return
	}
	// Copies of a history that is gone are of no more use. By hand nobody notes the one that was restored; a proper restore does.
	s.backups = slices.DeleteFunc(slices.Clone(s.backups), func(o backup) bool {
		return o.seq > b.seq || !slices.Contains(b.noted, o.seq) && (how == "hand" || o.seq < b.seq)
	})
	if how == "epoch" {
		if err := s.ledger.NewEpoch(context.Background()); err != nil {
			s.w.found("convergence", "new epoch: %v", err)
		}
		for _, o := range s.backups {
			if err := s.ledger.NoteBackup(context.Background(), o.seq, s.now()); err != nil {
				s.w.found("convergence", "note backup: %v", err)
			}
		}
	}
	s.w.restoredAt = s.w.at
}

// judge is a lead who releases a held edit, or gives it up.
func (s *server) judge(which int, how string) {
	held, err := s.ledger.ListHeld(context.Background(), s.w.org)
	if s.after(err) != nil || len(held) == 0 {
		return
	}
	h := held[which%len(held)]
	j := ledger.Judgement{Org: s.w.org, By: idOf("lead"), Key: h.Edit.Key, Dot: h.Edit.Dot, Reason: "judged"}
	if how == "giveup" {
		if s.after(s.ledger.GiveUp(context.Background(), j)) == nil {
			s.w.count("given up")
		}
		return
	}
	if how == "take" {
		for r := range registersOf(h.Edit.Writes) {
			j.Take = append(j.Take, r)
		}
	}
	release := s.ledger.Release
	if s.w.seams.release != nil {
		release = func(ctx context.Context, j ledger.Judgement) ([]record.Register, error) {
			return s.w.seams.release(ctx, s, j)
		}
	}
	left, err := release(context.Background(), j)
	if err != nil && fault.Of(err) == nil {
		// It may be on the disk all the same; then the lead sees in the record what was left out.
		left = s.w.writtenIn(j.Key)
	}
	_ = s.after(err)
	if fault.Of(err) != nil {
		return
	}
	s.w.count("released")
	for _, r := range left {
		s.w.count("left out")
		s.w.book.left[place{j.Key, r}] = true
	}
}

// api is someone who edits through the server's own API.
func (s *server) api(k record.Key, serial int) {
	rec, err := s.ledger.Read(context.Background(), s.w.org, k)
	if s.after(err) != nil {
		return
	}
	sc := s.w.scribe(k, serial, rec.State)
	writes := sc.some(s.w.setting)
	if len(writes) == 0 {
		return
	}
	e := record.Edit{ID: s.w.editID(serial), Key: k, Author: sc.by, AuthoredAt: authoredAt(serial, 0), Writes: writes}
	_, err = s.ledger.Edit(context.Background(), s.w.org, ledger.Draft{
		ID: e.ID, Key: k, Context: rec.State.Seen, Author: e.Author, AuthoredAt: e.AuthoredAt, Writes: writes, Origin: record.FromServer,
	})
	// The store may have kept an edit whose caller was told that it failed.
	if refusal := fault.Of(err); refusal == nil {
		m := s.w.book.note(&e, look(rec.State), heard(rec.Held))
		s.acked[m.at] = err == nil
	}
	_ = s.after(err)
}

// authoredAt is the time that a device claims: unique, and years off when its clock is.
func authoredAt(serial, years int) int64 {
	return 1_790_000_000_000 + int64(years)*31_557_600_000 + int64(serial)
}
