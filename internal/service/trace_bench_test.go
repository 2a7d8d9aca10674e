package service

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"github.com/google/uuid"
	"google.golang.org/protobuf/proto"

	accessv1 "needlebook/gen/needlebook/access/v1"
	chartv1 "needlebook/gen/needlebook/chart/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
	tracev1 "needlebook/gen/needlebook/trace/v1"
	"needlebook/internal/causal"
	"needlebook/internal/record"
	"needlebook/internal/wire"
)

// treated puts n sessions with six givings each into the ledger, two to a patient, four to a vial, fifty vials to a lot, in pages as tablets send them.
func (w *clinicServer) treated(n int, author uuid.UUID) {
	w.Helper()
	r := rand.New(rand.NewPCG(3, 4))
	var page []record.Edit
	replicas := uint32(0)
	add := func(kind record.Kind, id uuid.UUID, m proto.Message) {
		page = append(page, w.firstEdit(author, kind, id, m))
		if len(page) == wire.MaxPageEdits {
			replicas++
			w.push(causal.ReplicaID{0xbf, byte(replicas >> 16), byte(replicas >> 8), byte(replicas)}, page...)
			page = nil
		}
	}
	var patient uuid.UUID
	var vial, preparation string
	clinic := proto.String(w.org.Clinic.String())
	for i := range n {
		if i%4 == 0 {
			id := uuid.New()
			vial, preparation = id.String(), uuid.NewString()
			add(optionsv1.RecordKind_RECORD_KIND_VIAL, id, &chartv1.Vial{ClinicId: clinic,
				Presentation: &chartv1.VialPresentation{Product: testProduct, ContentMilliunits: 100_000},
				Labelling: &chartv1.VialLabelling{LotNumber: fmt.Sprintf("L%06d", i/200), ExpiresOn: &recordv1.Date{Year: 2027, Month: 1, Day: 31},
					Reading: chartv1.LabelReading_LABEL_READING_HAND, Read: actOf(author, w.at)},
				Preparations: []*chartv1.Preparation{{Id: preparation, Diluent: &chartv1.Diluent{Kind: "sodium_chloride_9", VolumeNanoliters: 2_500_000, LotNumber: "S" + fmt.Sprint(i/2000)}}}})
		}
		if i%2 == 0 {
			patient = uuid.New()
			add(optionsv1.RecordKind_RECORD_KIND_PATIENT, patient, &chartv1.Patient{Name: &recordv1.PersonName{Full: inventedName(r)}, HomeClinicId: clinic,
				Contact: &recordv1.Contact{Phone: "555 0100"}, Birth: &chartv1.BirthDate{Date: &recordv1.Date{Year: 1940 + r.Int32N(65), Month: 1 + r.Int32N(12), Day: 1 + r.Int32N(28)},
					Proof: chartv1.BirthProof_BIRTH_PROOF_STATED, Checked: actOf(author, w.at)}})
		}
		s := &chartv1.Session{PatientId: proto.String(patient.String()), ClinicId: clinic, Kind: treatment.Enum(), ResponsibleId: proto.String(author.String()),
			On: &recordv1.Date{Year: 2016 + r.Int32N(10), Month: 1 + r.Int32N(12), Day: 1 + r.Int32N(28)}}
		for k := range 6 {
			s.Injections = append(s.Injections, &chartv1.Injection{Id: uuid.NewString(), Muscle: proto.String("mentalis"), Side: chartv1.Side(1 + k%2).Enum(),
				Givings: []*chartv1.Giving{{Id: uuid.NewString(), Given: &chartv1.GivenDose{Dose: &chartv1.Dose{Product: testProduct, DoseMilliunits: 2000},
					VialId: &vial, PreparationId: &preparation}}}})
		}
		add(optionsv1.RecordKind_RECORD_KIND_SESSION, uuid.New(), s)
	}
	if len(page) > 0 {
		w.push(causal.ReplicaID{0xbe, 1}, page...)
	}
}

// BenchmarkTrace measures what a lead waits for, over the network, by how much is stored.
func BenchmarkTrace(b *testing.B) {
	for _, n := range []int{2_000, 20_000, 200_000} {
		b.Run(fmt.Sprintf("sessions=%d", n), func(b *testing.B) {
			w := newClinicServer(b)
			c := w.tracer(uuid.Nil, accessv1.Role_ROLE_MEDICAL_LEAD)
			began := time.Now()
			w.treated(n, c.staff)
			b.Logf("%d sessions pushed in %v", n, time.Since(began).Round(time.Millisecond))
			began = time.Now()
			if _, err := w.WarmUp(b.Context()); err != nil {
				b.Fatal(err)
			}
			b.Logf("index in memory made in %v", time.Since(began).Round(time.Millisecond))
			lot := fmt.Sprintf("L%06d", n/400)
			month := &recordv1.Date{Year: 2022, Month: 5, Day: 1}
			for name, call := range map[string]func() (int, error){
				"TraceLot": func() (int, error) {
					m, err := c.TraceLot(b.Context(), label(lot, false))
					return int(m.GetPatientCount()), err
				},
				"TraceLot/like": func() (int, error) {
					m, err := c.TraceLot(b.Context(), label(lot, true))
					return int(m.GetPatientCount() + m.GetLikePatientCount()), err
				},
				"GetDayClose": func() (int, error) {
					m, err := c.GetDayClose(b.Context(), &tracev1.GetDayCloseRequest{ClinicId: w.org.Clinic.String(), Day: month})
					return int(m.GetReport().GetSessions()), err
				},
				"ListReviewsDue": func() (int, error) {
					m, err := c.ListReviewsDue(b.Context(), &tracev1.ListReviewsDueRequest{Until: month})
					return len(m.GetReviews()), err
				},
				"GetFigures/month": func() (int, error) {
					m, err := c.GetFigures(b.Context(), &tracev1.GetFiguresRequest{From: month, Until: &recordv1.Date{Year: 2022, Month: 5, Day: 31}})
					return int(m.GetPatients()), err
				},
				"GetLikePatients": func() (int, error) {
					m, err := c.GetLikePatients(b.Context(), &tracev1.GetLikePatientsRequest{Name: "Mabero Dosa", BornOn: &recordv1.Date{Year: 1980, Month: 4, Day: 2}})
					return len(m.GetPatients()), err
				},
			} {
				b.Run(name, func(b *testing.B) {
					found := 0
					var each []time.Duration
					for b.Loop() {
						began := time.Now()
						n, err := call()
						if err != nil {
							b.Fatal(err)
						}
						found, each = n, append(each, time.Since(began))
					}
					slices.Sort(each)
					b.ReportMetric(float64(found), "found")
					b.ReportMetric(float64(each[len(each)/2].Microseconds())/1000, "median-ms")
				})
			}
		})
	}
}
