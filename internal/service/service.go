package service

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"sync"
	"time"

	"buf.build/go/protovalidate"
	"connectrpc.com/connect"
	"github.com/google/uuid"

	"needlebook/gen/needlebook/access/v1/accessv1connect"
	"needlebook/gen/needlebook/dose/v1/dosev1connect"
	"needlebook/gen/needlebook/sync/v1/syncv1connect"
	"needlebook/gen/needlebook/trace/v1/tracev1connect"
	"needlebook/internal/auth"
	"needlebook/internal/blob"
	"needlebook/internal/chart"
	"needlebook/internal/ledger"
	"needlebook/internal/record"
	"needlebook/internal/rest"
	"needlebook/internal/schema"
	"needlebook/internal/store"
)

// Config is what a Service needs from its surroundings. Store, Blobs, PublicURL and Now must be set.
type Config struct {
	Store store.Store
	Blobs *blob.Dir
	// PublicURL is the address by which tablets reach the server, such as https://needlebook.clinic.example:8740. Links and square codes begin
	// with it.
	PublicURL string
	Now       func() time.Time
	// Random makes ids, keys and codes; crypto/rand.Reader when nil.
	Random io.Reader
	// Log takes one line a call; nil discards.
	Log *slog.Logger
	// HashCost is what a password costs; the zero value means auth.DefaultCost. HashesAtOnce is how many may run together; 0 means 2.
	HashCost     auth.Cost
	HashesAtOnce int
}

// issuer and audience are what access tokens name: this kind of server, and this interface of it. Keys, which no two servers share, tell
// servers apart; an
// address may change.
const (
	issuer   = "needlebook-server"
	audience = "needlebook"
)

// keyLife is how long a key signs access tokens.
const keyLife = 24 * time.Hour

// Service is the handlers with what they stand on. It may be used concurrently.
type Service struct {
	Config
	ledger      *ledger.Ledger
	schema      *record.Schema
	actions     actions
	rest        rest.Routes
	validator   protovalidate.Validator
	errorWriter *connect.ErrorWriter

	signer   *auth.Signer
	verifier *auth.Verifier
	admitted auth.Admissions
	handIns  handIns
	limiter  *auth.Limiter
	door     *auth.Door

	charting  *charting
	running   *running
	fullPulls *fullPulls
	seen      *seen
	later     *laterEntries
	unread    *unread
	counts    counts

	// ringMu guards ringID, the key that signs at present.
	ringMu sync.Mutex
	ringID string
}

// Open prepares a Service: the ledger, the keys that sign tokens, the actions of all RPCs. An RPC without an action is an error.
func Open(ctx context.Context, c Config) (*Service, error) {
	s := &Service{
		Config: c, running: newRunning(time.Now), fullPulls: newFullPulls(), seen: newSeen(), later: &laterEntries{}, unread: newUnread(), limiter: auth.NewLimiter(),
	}
	s.defaults()
	if err := s.load(ctx); err != nil {
		return nil, fmt.Errorf("open service: %w", err)
	}
	s.door = auth.NewDoor(s.Store, auth.NewHasher(s.HashCost, s.HashesAtOnce), s.limiter, s.Now)
	s.errorWriter = connect.NewErrorWriter(s.options()...)
	s.charting = newCharting(s)
	return s, nil
}

func (s *Service) defaults() {
	if s.Random == nil {
		s.Random = rand.Reader
	}
	if s.Log == nil {
		s.Log = slog.New(slog.DiscardHandler)
	}
	if s.HashCost == (auth.Cost{}) {
		s.HashCost = auth.DefaultCost()
	}
	if s.HashesAtOnce == 0 {
		s.HashesAtOnce = 2
	}
}

func (s *Service) load(ctx context.Context) (err error) {
	if s.actions, err = readActions(Services()); err != nil {
		return err
	}
	if s.rest, err = rest.ReadRoutes(Services()); err != nil {
		return err
	}
	if s.schema, err = record.NewSchema(schema.Records()...); err != nil {
		return err
	}
	if s.validator, err = protovalidate.New(); err != nil {
		return fmt.Errorf("read the bounds of the schema: %w", err)
	}
	if s.ledger, err = ledger.Open(ctx, s.Store, ledger.Config{
		Schema: s.schema, Authorise: s.authorise, Now: s.Now, Random: s.Random, Summarise: chart.Safety, Terms: Terms(),
	}); err != nil {
		return err
	}
	if err := s.makeTerms(ctx); err != nil {
		return err
	}
	if err := s.readmit(ctx); err != nil {
		return err
	}
	ring, err := s.keyring(ctx)
	if err != nil {
		return err
	}
	s.signer = auth.NewSigner(ring, issuer, audience)
	s.verifier = auth.NewVerifier(ring, issuer, audience, s.Now)
	return s.seen.load(ctx, s.Store)
}

// readmit lets edits take effect that were held because the program before this one did not know what they say.
func (s *Service) readmit(ctx context.Context) error {
	got, err := s.ledger.Readmit(ctx)
	if got.Released+got.Held > 0 {
		s.Log.Info("edits that the version before did not know were judged", "released", got.Released, "held", got.Held)
	}
	if errors.Is(err, store.ErrDiskFull) {
		s.Log.Warn("edits that the version before did not know wait for room on the disk")
		return nil
	}
	return err
}

// keyring is the keys that sign tokens, as stored. When the disk takes no writes those there are serve on.
func (s *Service) keyring(ctx context.Context) (ring auth.Keyring, err error) {
	err = s.Store.Update(ctx, func(w store.Writer) (err error) {
		ring, err = auth.EnsureKeyring(w, s.Random, s.Now(), keyLife)
		return err
	})
	if errors.Is(err, store.ErrDiskFull) {
		err = s.Store.View(ctx, func(r store.Reader) (err error) {
			ring, err = auth.LoadKeyring(r)
			return err
		})
	}
	return ring, err
}

// Ledger is the ledger that the service stands on.
func (s *Service) Ledger() *ledger.Ledger { return s.ledger }

// Schema is the schema that the service checks records with.
func (s *Service) Schema() *record.Schema { return s.schema }

// Running is how many calls run at this moment.
func (s *Service) Running() int { return s.running.Running() }

// options are the Connect options of every handler.
func (s *Service) options() []connect.HandlerOption {
	return []connect.HandlerOption{
		connect.WithRequestGate(s.gate),
		connect.WithInterceptors(connect.UnaryInterceptorFunc(s.intercept)),
		connect.WithReadMaxBytes(MaxMessageBytes),
		connect.WithCodec(binaryCodec{}),
		connect.WithCodec(jsonCodec{s.unread}),
		connect.WithCompression("gzip", newGzipDecompressor, newGzipCompressor),
		connect.WithCompression("zstd", newZstdDecompressor, newZstdCompressor),
		connect.WithCompressMinBytes(compressMinBytes),
	}
}

// routes are the handlers by path.
func (s *Service) routes() *http.ServeMux {
	mux := http.NewServeMux()
	mount := func(path string, h http.Handler) { mux.Handle(path, h) }
	mount(accessv1connect.NewAccessServiceHandler(&access{Service: s}, s.options()...))
	mount(syncv1connect.NewSyncServiceHandler(&syncing{Service: s}, s.options()...))
	mount(dosev1connect.NewDoseServiceHandler(newDosing(s.charting), s.options()...))
	mount(newChartHandler(s))
	mount(dosev1connect.NewFindingServiceHandler(newFindings(s.charting), s.options()...))
	mount(tracev1connect.NewTraceServiceHandler(newTracing(s.charting), s.options()...))
	return mux
}

// org and id turn the ids of accounts into those of records.
func recordID(id uuid.UUID) record.ID { return record.ID(id) }
