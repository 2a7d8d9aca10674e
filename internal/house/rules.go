package house

import "slices"

// Gen stands, in a list of imports, for the generated messages. A pure package gets the messages and never the Connect stubs, which reach net/http.
const Gen = "gen"

// Rule says what the files of one package that are not tests may import.
type Rule struct {
	// Pure packages also run on the tablet: no clock, disk, network, randomness or goroutine.
	Pure bool
	// StdOnly packages import the standard library alone.
	StdOnly bool
	// Proof packages exist for tests, so they may import what is for tests alone.
	Proof bool
	// Ours are the packages of this module that may be imported, without the prefix internal/, and Gen.
	Ours []string
}

// Rules is the policy: one line for each package, keyed by its folder. It repeats the table in docs/architecture.md, and a test compares the two.
// Change it in review, not to mend a build. A package without a line fails.
func Rules() map[string]Rule {
	all := []string{
		"dose", "fault", "causal", "record", "schema", "wire", "formulary", "replica", "reckon", "store", "store/boltstore", "durable", "blob",
		"ledger", "auth", "audit", "chart", "anatomy", "gs1", "guard", "export", "document", "figure", "plot", "gather", "rest", "visit", "stock", "starter",
		"calendar", "photo", Gen,
	}
	withService := append(slices.Clone(all), "service")
	withServer := append(slices.Clone(withService), "server")
	return map[string]Rule{
		"internal/dose":      {Pure: true, StdOnly: true},
		"internal/anatomy":   {Pure: true, StdOnly: true},
		"internal/photo":     {Pure: true, StdOnly: true},
		"internal/gs1":       {Pure: true, StdOnly: true},
		"internal/fault":     {Pure: true, Ours: []string{Gen}},
		"internal/causal":    {Pure: true, StdOnly: true},
		"internal/record":    {Pure: true, Ours: []string{"causal", "fault", Gen}},
		"internal/formulary": {Pure: true, Ours: []string{"dose", "anatomy", "fault", Gen}},
		"internal/schema":    {Pure: true, Ours: []string{Gen}},
		"internal/wire":      {Pure: true, Ours: []string{"causal", "record", "fault", Gen}},
		"internal/replica":   {Pure: true, Ours: []string{"causal", "record", "wire", "fault", Gen}},
		"internal/chart":     {Pure: true, Ours: []string{"causal", "record", "wire", "dose", "fault", Gen}},
		"internal/export":    {Pure: true, Ours: []string{Gen}},
		"internal/figure":    {Pure: true, Ours: []string{"chart", "anatomy", "record", "export", Gen}},
		"internal/guard":     {Pure: true, Ours: []string{"dose", "anatomy", "formulary", "chart", Gen}},
		"internal/visit":     {Pure: true, Ours: []string{"dose", "anatomy", "formulary", "fault", Gen}},
		"internal/starter":   {Pure: true, Ours: []string{Gen}},
		"internal/stock":     {Pure: true, Ours: []string{"dose", "gs1", "formulary", "visit", "fault", Gen}},
		"internal/reckon":    {Pure: true, Ours: []string{"dose", "formulary", "guard", "fault", Gen}},
		"internal/gather":    {Pure: true, Ours: []string{"chart", "formulary", "fault", Gen}},

		"internal/store":           {},
		"internal/store/storetest": {Proof: true, Ours: []string{"store"}},
		"internal/store/boltstore": {Ours: []string{"store", "durable"}},
		"internal/durable":         {},
		"internal/blob":            {Ours: []string{"durable"}},
		"internal/plot":            {Ours: []string{"figure", Gen}},
		"internal/document":        {Ours: []string{"chart", "anatomy", Gen}},
		"internal/ledger":          {Ours: []string{"store", "record", "causal", "wire", "fault", Gen}},
		"internal/auth":            {Ours: []string{"store", "fault", Gen}},
		"internal/audit":           {Ours: []string{"store", Gen}},
		"internal/calendar":        {Ours: []string{"visit", Gen}},
		"internal/rest":            {Ours: []string{"fault", Gen}},
		"internal/service":         {Ours: all},
		"internal/server":          {Ours: append(slices.Clone(withService), "tablet")},
		"internal/device": {Ours: []string{
			"store", "store/boltstore", "durable", "replica", "chart", "formulary", "gather", "record", "causal", "schema", "wire", "auth", "fault", Gen,
		}},
		"internal/bench": {Proof: true},
		"internal/sim":   {Ours: withServer},
		"internal/demo":  {Ours: withServer},
		"cmd/needlebook": {Ours: append(slices.Clone(withServer), "sim", "device", "demo")},

		"internal/house": {},
		"internal/tabletcore": {Pure: true, Ours: []string{
			"replica", "chart", "gather", "reckon", "formulary", "anatomy", "record", "causal", "schema", "wire", "fault", Gen,
		}},
		"internal/tablet":     {},
		"cmd/needlebook-wasm": {Ours: []string{"tabletcore"}},

		"internal/house/gates":    {Ours: []string{"house"}},
		"internal/house/openapi":  {},
		"internal/house/messages": {},
		"internal/house/tablet":   {},
	}
}

// PurePackages lists the folders of the packages that also run as WebAssembly, sorted.
func PurePackages() []string {
	var pure []string
	for dir, rule := range Rules() {
		if rule.Pure {
			pure = append(pure, dir)
		}
	}
	slices.Sort(pure)
	return pure
}

// pureStd is what a pure package may import of the standard library. The package time is among them for dates and durations; reading its clock is a
// fault of its own. The packages of signatures are among them for verifying; making keys needs crypto/rand, which is not.
func pureStd() []string {
	return []string{
		"bytes", "cmp", "crypto", "crypto/ecdsa", "crypto/ed25519", "crypto/elliptic", "crypto/hmac", "crypto/sha256", "embed", "encoding",
		"encoding/base64", "encoding/binary", "encoding/csv", "encoding/hex", "encoding/json", "errors", "fmt", "hash", "hash/crc32", "io", "iter", "maps",
		"math", "math/big",
		"math/bits", "regexp", "slices", "sort", "strconv", "strings", "time", "unicode", "unicode/utf16", "unicode/utf8",
	}
}

// pureModules is what a pure package that uses generated messages may import from other modules: the protobuf runtime, the annotations as data, and the
// normal forms of Unicode.
func pureModules() []string {
	return []string{
		"google.golang.org/protobuf",
		"golang.org/x/text/unicode/norm",
		"buf.build/gen/go/bufbuild/protovalidate/protocolbuffers/go/buf/validate",
	}
}

// testModules are linked into tests only. rapid is under the MPL, which nothing that we ship should carry (docs/decisions/0007).
func testModules() []string {
	return []string{
		"pgregory.net/rapid", "github.com/stretchr/testify", "github.com/google/go-cmp", "github.com/rogpeppe/go-internal",
		"github.com/santhosh-tekuri/jsonschema/v6", "github.com/pb33f/libopenapi", "github.com/pb33f/libopenapi-validator",
		"github.com/tetratelabs/wazero", "github.com/chromedp/chromedp", "github.com/chromedp/cdproto",
	}
}

// clockReads are the names in package time that read the clock or wait for it.
func clockReads() []string {
	return []string{"Now", "Since", "Until", "Sleep", "After", "AfterFunc", "Tick", "NewTimer", "NewTicker", "Local", "LoadLocation"}
}
