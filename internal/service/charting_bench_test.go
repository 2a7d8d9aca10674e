package service

import (
	"fmt"
	"math/rand/v2"
	"runtime"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"
	"google.golang.org/protobuf/proto"

	accessv1 "needlebook/gen/needlebook/access/v1"
	chartv1 "needlebook/gen/needlebook/chart/v1"
	dosev1 "needlebook/gen/needlebook/dose/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
	"needlebook/internal/causal"
	"needlebook/internal/record"
	"needlebook/internal/wire"
)

// syllables make invented names, about 30,000 of each part.
const syllables = "ba be bo da do el fa fi ga go ha ja ka ki la le li lo ma mi mo na ne no pa ra ri ro sa se si so ta ti to va vi wa ya zo"

func inventedName(r *rand.Rand) string {
	s := strings.Fields(syllables)
	word := func() string { return s[r.IntN(len(s))] + s[r.IntN(len(s))] + s[r.IntN(len(s))] }
	return word() + " " + word()
}

// populate puts n patients with one session each into the ledger, in pages as tablets send them.
func (w *clinicServer) populate(n int, author uuid.UUID) (patients []string) {
	w.Helper()
	r := rand.New(rand.NewPCG(1, 2))
	var page []record.Edit
	replicas := byte(0)
	for i := range n {
		p := &chartv1.Patient{Name: &recordv1.PersonName{Full: inventedName(r)}, HomeClinicId: proto.String(w.org.Clinic.String()), Birth: &chartv1.BirthDate{
			Date:  &recordv1.Date{Year: 1940 + r.Int32N(65), Month: 1 + r.Int32N(12), Day: 1 + r.Int32N(28)},
			Proof: chartv1.BirthProof_BIRTH_PROOF_STATED, Checked: actOf(author, w.at)}}
		id, visit := uuid.New(), uuid.New()
		patients = append(patients, id.String())
		s := &chartv1.Session{PatientId: proto.String(id.String()), ClinicId: proto.String(w.org.Clinic.String()),
			On: &recordv1.Date{Year: 2016 + r.Int32N(10), Month: 1 + r.Int32N(12), Day: 1 + r.Int32N(28)}}
		page = append(page,
			w.firstEdit(author, optionsv1.RecordKind_RECORD_KIND_PATIENT, id, p), w.firstEdit(author, optionsv1.RecordKind_RECORD_KIND_SESSION, visit, s))
		if len(page) == wire.MaxPageEdits || i == n-1 {
			replicas++
			w.push(causal.ReplicaID{0xbe, replicas, byte(i >> 16), byte(i >> 8), byte(i)}, page...)
			page = nil
		}
	}
	return patients
}

func (w *clinicServer) firstEdit(author uuid.UUID, kind record.Kind, id uuid.UUID, m proto.Message) record.Edit {
	w.Helper()
	writes, err := w.writesOf(kind, m)
	if err != nil {
		w.Fatal(err)
	}
	return record.Edit{ID: record.ID(uuid.New()), Key: record.Key{Kind: kind, ID: record.ID(id)}, Author: record.ID(author), AuthoredAt: w.at.UnixMilli(), Writes: writes}
}

// BenchmarkIndex measures searches and lists by how much is stored: what the index costs to build, to hold and to ask, without the network.
func BenchmarkIndex(b *testing.B) {
	for _, n := range []int{2_000, 20_000, 200_000} {
		b.Run(fmt.Sprintf("patients=%d", n), func(b *testing.B) {
			w := newClinicServer(b)
			c := w.hire(w.org.ID, uuid.Nil, accessv1.Role_ROLE_INJECTOR)
			patients := w.populate(n, c.staff)
			h := newCharting(w.Service)
			var before, after runtime.MemStats
			runtime.GC()
			runtime.ReadMemStats(&before)
			began := time.Now()
			o, err := h.index.follow(b.Context(), recordID(w.org.ID))
			if err != nil {
				b.Fatal(err)
			}
			built := time.Since(began)
			runtime.GC()
			runtime.ReadMemStats(&after)
			b.Logf("%d patients with a session each: built in %v, holds %.1f MB", n, built, float64(after.HeapAlloc-before.HeapAlloc)/1e6)
			d := &desk{charting: h, org: recordID(w.org.ID), index: o, chart: h.chart}
			for name, req := range map[string]*chartv1.SearchPatientsRequest{
				"two-words": {Text: "mabe ro"}, "two-letters": {Text: "ma"}, "born-on": {BornOn: &recordv1.Date{Year: 1980, Month: 4, Day: 2}},
			} {
				b.Run("match/"+name, func(b *testing.B) {
					found := 0
					for b.Loop() {
						found = len(d.matches(req, record.ID{}))
					}
					b.ReportMetric(float64(found), "found")
				})
			}
			b.Run("follow-nothing", func(b *testing.B) {
				for b.Loop() {
					if _, err := h.index.follow(b.Context(), recordID(w.org.ID)); err != nil {
						b.Fatal(err)
					}
				}
			})
			b.Run("sessions-of-one", func(b *testing.B) {
				id := record.ID(uuid.MustParse(patients[n/2]))
				for b.Loop() {
					if len(d.sessionsOf(id)) != 1 {
						b.Fatal("not her session")
					}
				}
			})
			// The server's own index is built by its first call.
			if _, err := c.SearchPatients(b.Context(), &chartv1.SearchPatientsRequest{Text: "mabe ro"}); err != nil {
				b.Fatal(err)
			}
			b.Run("call/SearchPatients", func(b *testing.B) {
				for b.Loop() {
					if _, err := c.SearchPatients(b.Context(), &chartv1.SearchPatientsRequest{Text: "mabe ro"}); err != nil {
						b.Fatal(err)
					}
				}
			})
			b.Run("call/ListFindings", func(b *testing.B) { // all pages
				for b.Loop() {
					w.foundBy(c, &dosev1.ListFindingsRequest{})
				}
			})
			b.Run("call/ListSessions", func(b *testing.B) {
				for b.Loop() {
					if _, err := c.ListSessions(b.Context(), &chartv1.ListSessionsRequest{PageSize: 20}); err != nil {
						b.Fatal(err)
					}
				}
			})
		})
	}
}
