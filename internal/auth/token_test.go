package auth

import (
	"crypto"
	"crypto/ecdsa"
	"crypto/ed25519"
	"crypto/elliptic"
	"crypto/hmac"
	"crypto/rand"
	"crypto/rsa"
	"crypto/sha256"
	"crypto/x509"
	"encoding/base64"
	"encoding/json"
	"encoding/pem"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/uuid"

	accessv1 "needlebook/gen/needlebook/access/v1"
	faultv1 "needlebook/gen/needlebook/fault/v1"
	"needlebook/internal/fault"
)

const (
	issuer   = "https://clinic.example"
	audience = "needlebook"
)

func ada() Account {
	return Account{Staff: uuid.MustParse("0190b5a0-0000-7000-8000-000000000001"), Org: uuid.MustParse("0190b5a0-0000-7000-8000-0000000000aa"),
		RoleVersion: 3,
		Positions:   []Position{{Roles: []accessv1.Role{accessv1.Role_ROLE_MEDICAL_LEAD, accessv1.Role_ROLE_INJECTOR}}}}
}

// clock is a time that tests move.
type clock struct{ t time.Time }

func (c *clock) now() time.Time { return c.t }

func mustRing(t testing.TB, now time.Time) Keyring {
	t.Helper()
	ring, err := NewKeyring(rand.Reader, now)
	if err != nil {
		t.Fatal(err)
	}
	return ring
}

func mustSign(t testing.TB, ring Keyring, now time.Time) string {
	t.Helper()
	text, _, err := NewSigner(ring, issuer, audience).Sign(ada(), uuid.Nil, now)
	if err != nil {
		t.Fatal(err)
	}
	return text
}

func refused(err error) bool {
	return fault.Has(err, faultv1.Reason_REASON_UNAUTHENTICATED)
}

func TestTokenIsGoodUntilItEnds(t *testing.T) {
	c := &clock{start}
	ring := mustRing(t, start)
	v := NewVerifier(ring, issuer, audience, c.now)
	device := uuid.New()
	token, ends, err := NewSigner(ring, issuer, audience).Sign(ada(), device, start)
	if err != nil || !ends.Equal(start.Add(AccessLife)) {
		t.Fatalf("ends %v, %v", ends, err)
	}
	claims, err := v.Verify(token)
	want := Claims{Issuer: issuer, Audience: audience, Staff: ada().Staff, Org: ada().Org, Device: device, ID: claims.ID, RoleVersion: 3,
		Roles:    []accessv1.Role{accessv1.Role_ROLE_INJECTOR, accessv1.Role_ROLE_MEDICAL_LEAD},
		IssuedAt: start.Unix(), NotBefore: start.Unix() - 30, ExpiresAt: start.Unix() + 600}
	if err != nil || !cmp.Equal(claims, want) {
		t.Fatalf("%v\n%s", err, cmp.Diff(want, claims))
	}
	for _, step := range []struct {
		at   time.Duration
		good bool
	}{{-31 * time.Second, false}, {-30 * time.Second, true}, {AccessLife - time.Second, true}, {AccessLife, false}, {24 * time.Hour, false}} {
		c.t = start.Add(step.at)
		_, cached := v.Verify(token)
		_, fresh := NewVerifier(ring, issuer, audience, c.now).Verify(token)
		if (cached == nil) != step.good || (fresh == nil) != step.good {
			t.Errorf("at %v: remembered %v, anew %v, want good %v", step.at, cached, fresh, step.good)
		}
	}
}

func TestRotationRefusesNoHonestCall(t *testing.T) {
	c := &clock{start}
	ring := mustRing(t, start)
	v, s := NewVerifier(ring, issuer, audience, c.now), NewSigner(ring, issuer, audience)
	old := mustSign(t, ring, c.t)
	second, err := ring.Rotate(rand.Reader, c.t)
	if err != nil {
		t.Fatal(err)
	}
	v.Use(second)
	s.Use(second)
	young, _, _ := s.Sign(ada(), uuid.Nil, c.t)
	for name, token := range map[string]string{"old": old, "young": young} {
		if _, err := v.Verify(token); err != nil {
			t.Errorf("%s key after one rotation: %v", name, err)
		}
	}
	third, _ := second.Rotate(rand.Reader, c.t)
	v.Use(third)
	if _, err := v.Verify(old); !refused(err) {
		t.Errorf("a key two rotations old still opens: %v", err)
	}
	if _, err := v.Verify(young); err != nil {
		t.Errorf("the key before: %v", err)
	}
	if n := len(third.Keys()); n != 2 {
		t.Errorf("%d keys live, want 2", n)
	}
}

func TestCacheIsBoundedAndAnswersTheSame(t *testing.T) {
	c := &clock{start}
	ring := mustRing(t, start)
	v := NewVerifier(ring, issuer, audience, c.now)
	first := mustSign(t, ring, start)
	want, _ := v.Verify(first)
	for n := range 3 * maxCached {
		v.remember(sha256.Sum256(fmt.Append(nil, n)), first, &Claims{})
	}
	if n := len(v.young) + len(v.old); n > 2*maxCached {
		t.Errorf("%d tokens remembered, want at most %d", n, 2*maxCached)
	}
	got, err := v.Verify(first)
	if err != nil || !cmp.Equal(got, want) {
		t.Errorf("after being forgotten: %v %v", got, err)
	}
	got.Roles[0] = 99
	if again, _ := v.Verify(first); !cmp.Equal(again, want) {
		t.Error("a caller changed what is remembered")
	}
}

// TestEveryMutatedByteIsRefused changes every byte of a good token into 51 others, and cuts it everywhere.
func TestEveryMutatedByteIsRefused(t *testing.T) {
	c := &clock{start}
	ring := mustRing(t, start)
	v := NewVerifier(ring, issuer, audience, c.now)
	token := []byte(mustSign(t, ring, start))
	if _, err := v.Verify(string(token)); err != nil {
		t.Fatal(err)
	}
	tried, accepted := 0, 0
	for i := range token {
		for x := 1 + i%5; x < 256; x += 5 {
			m := slices.Clone(token)
			m[i] ^= byte(x)
			tried++
			if _, err := v.Verify(string(m)); !refused(err) {
				accepted++
				t.Errorf("byte %d xor %#x: %v", i, x, err)
			}
		}
	}
	for i := range len(token) {
		head, tail := string(token[:i]), string(token[i:])
		for _, m := range []string{head, head + "\n" + tail, head + "\r" + tail, tail[1:], head + tail[1:]} {
			tried++
			if _, err := v.Verify(m); !refused(err) {
				accepted++
				t.Errorf("cut at %d: %v", i, err)
			}
		}
	}
	t.Logf("%d mutations tried, %d accepted", tried, accepted)
}

// forger makes tokens that are wrong in one way each.
type forger struct {
	key    SigningKey
	claims map[string]any
	header map[string]any
}

func newForger(k SigningKey, now time.Time) forger {
	return forger{
		key:    k,
		header: map[string]any{"alg": "EdDSA", "kid": k.ID, "typ": "at+jwt"},
		claims: map[string]any{"iss": issuer, "aud": audience, "sub": ada().Staff.String(), "org": ada().Org.String(), "device": uuid.Nil.String(),
			"roles": []int{1}, "role_version": 3, "jti": uuid.NewString(), "iat": now.Unix(), "nbf": now.Unix(), "exp": now.Unix() + 600},
	}
}

// compact signs header and payload as they are.
func (f forger) compact(header, payload []byte) string {
	signed := base64.RawURLEncoding.EncodeToString(header) + "." + base64.RawURLEncoding.EncodeToString(payload)
	return signed + "." + base64.RawURLEncoding.EncodeToString(ed25519.Sign(f.key.Private, []byte(signed)))
}

func (f forger) token() string {
	return f.compact(mustJSON(f.header), f.payload())
}

// payload has the claims in the order of Claims, and those that it does not know behind.
func (f forger) payload() []byte {
	var parts []string
	left := map[string]any{}
	for k, v := range f.claims {
		left[k] = v
	}
	for _, k := range []string{"iss", "aud", "sub", "org", "device", "roles", "role_version", "jti", "iat", "nbf", "exp"} {
		if v, ok := left[k]; ok {
			parts = append(parts, fmt.Sprintf("%q:%s", k, mustJSON(v)))
			delete(left, k)
		}
	}
	for k, v := range left {
		parts = append(parts, fmt.Sprintf("%q:%s", k, mustJSON(v)))
	}
	return []byte("{" + strings.Join(parts, ",") + "}")
}

func mustJSON(v any) []byte {
	b, err := json.Marshal(v)
	if err != nil {
		panic(err)
	}
	return b
}

func (f forger) withClaim(name string, v any) string {
	c := map[string]any{}
	for k, old := range f.claims {
		c[k] = old
	}
	if c[name] = v; v == nil {
		delete(c, name)
	}
	f.claims = c
	return f.token()
}

func (f forger) withHeader(name string, v any) string {
	h := map[string]any{}
	for k, old := range f.header {
		h[k] = old
	}
	if h[name] = v; v == nil {
		delete(h, name)
	}
	f.header = h
	return f.token()
}

func (f forger) hmacWith(alg string, secret []byte, hash crypto.Hash) string {
	h := map[string]any{"alg": alg, "kid": f.key.ID, "typ": "at+jwt"}
	signed := base64.RawURLEncoding.EncodeToString(mustJSON(h)) + "." + base64.RawURLEncoding.EncodeToString(f.payload())
	m := hmac.New(hash.New, secret)
	m.Write([]byte(signed))
	return signed + "." + base64.RawURLEncoding.EncodeToString(m.Sum(nil))
}

// negativeTokens are the classes of RFC 8725 and RFC 9068 that a resource server must refuse.
func negativeTokens(t testing.TB, f forger, now time.Time) map[string]string {
	t.Helper()
	good := f.token()
	parts := strings.Split(good, ".")
	public := f.key.Public()
	spki, _ := x509.MarshalPKIXPublicKey(public)
	pemKey := pem.EncodeToMemory(&pem.Block{Type: "PUBLIC KEY", Bytes: spki})
	strangerRing := mustRing(t, now)
	stranger := newForger(strangerRing.keys[0], now)
	jwk := map[string]any{"kty": "OKP", "crv": "Ed25519", "x": base64.RawURLEncoding.EncodeToString(stranger.key.Public())}
	n := map[string]string{
		"empty": "", "dots": "..", "one dot": ".", "words": "not a token", "bearer": "Bearer " + good,
		"space before": " " + good, "line end after": good + "\n",
		"two parts": parts[0] + "." + parts[1], "four parts": good + "." + parts[2], "five parts, as encrypted ones have": good + ".." + parts[2],
		"no signature": parts[0] + "." + parts[1] + ".", "padded": good + "==", "NUL inside": parts[0] + ".\x00" + parts[1] + "." + parts[2],
		"signature of zeros": parts[0] + "." + parts[1] + "." + base64.RawURLEncoding.EncodeToString(make([]byte, 64)),
		"short signature":    parts[0] + "." + parts[1] + "." + base64.RawURLEncoding.EncodeToString(make([]byte, 32)),
		"long signature":     good + "AAAA",
		"parts swapped":      parts[1] + "." + parts[0] + "." + parts[2],
		"one megabyte":       parts[0] + "." + strings.Repeat("A", 1<<20) + "." + parts[2],
		"standard base64":    strings.NewReplacer("-", "+", "_", "/").Replace(good) + "+",
		"alg none":           noneToken(f, "none"), "alg None": noneToken(f, "None"), "alg NONE": noneToken(f, "NONE"), "alg empty": noneToken(f, ""),
		"HS256 with the public key":            f.hmacWith("HS256", public, crypto.SHA256),
		"HS256 with the public key as SPKI":    f.hmacWith("HS256", spki, crypto.SHA256),
		"HS256 with the public key as PEM":     f.hmacWith("HS256", pemKey, crypto.SHA256),
		"HS384 with the public key":            f.hmacWith("HS384", public, crypto.SHA384),
		"HS512 with the public key":            f.hmacWith("HS512", public, crypto.SHA512),
		"HS256 with an empty key":              f.hmacWith("HS256", nil, crypto.SHA256),
		"HS256 under the EdDSA header":         f.hmacWith("EdDSA", public, crypto.SHA256),
		"ES256 of a key of its own":            es256Token(t, f),
		"RS256 of a key of its own":            rs256Token(t, f),
		"alg Ed25519, the newer name":          f.withHeader("alg", "Ed25519"),
		"alg in lower case":                    f.withHeader("alg", "eddsa"),
		"alg as a list":                        f.withHeader("alg", []string{"EdDSA"}),
		"no alg":                               f.withHeader("alg", nil),
		"another key under the live kid":       forgedKid(stranger, f.key.ID),
		"another key under its own kid":        stranger.token(),
		"no kid":                               f.withHeader("kid", nil),
		"kid as a number":                      f.withHeader("kid", 1),
		"kid as a path":                        f.withHeader("kid", "../../dev/null"),
		"kid as an address":                    f.withHeader("kid", "https://attacker.example/key"),
		"kid as SQL":                           f.withHeader("kid", "' OR '1'='1"),
		"kid of a megabyte":                    f.withHeader("kid", strings.Repeat("k", 1<<20)),
		"kid empty":                            f.withHeader("kid", ""),
		"jku":                                  f.withHeader("jku", "https://attacker.example/keys"),
		"jwk inside":                           jwkToken(stranger, jwk),
		"jwk inside, signed with the live key": f.withHeader("jwk", jwk),
		"x5u":                                  f.withHeader("x5u", "https://attacker.example/cert"),
		"x5c":                                  f.withHeader("x5c", []string{"AAAA"}),
		"x5t":                                  f.withHeader("x5t", "AAAA"),
		"crit":                                 f.withHeader("crit", []string{"exp"}),
		"crit empty":                           f.withHeader("crit", []string{}),
		"b64 false":                            f.withHeader("b64", false),
		"zip":                                  f.withHeader("zip", "DEF"),
		"enc, as an encrypted one":             f.withHeader("enc", "A256GCM"),
		"cty JWT, nested":                      f.withHeader("cty", "JWT"),
		"a token inside a token":               f.compact(mustJSON(f.header), []byte(good)),
		"typ JWT":                              f.withHeader("typ", "JWT"),
		"typ of an identity token":             f.withHeader("typ", "id_token+jwt"),
		"typ in upper case":                    f.withHeader("typ", "AT+JWT"),
		"typ long":                             f.withHeader("typ", "application/at+jwt"),
		"no typ":                               f.withHeader("typ", nil),
		"header with spaces":                   f.compact([]byte(`{"alg":"EdDSA", "kid":"`+f.key.ID+`","typ":"at+jwt"}`), f.payload()),
		"header with a key twice":              f.compact([]byte(`{"alg":"EdDSA","alg":"none","kid":"`+f.key.ID+`","typ":"at+jwt"}`), f.payload()),
		"header in another order":              f.compact([]byte(`{"typ":"at+jwt","alg":"EdDSA","kid":"`+f.key.ID+`"}`), f.payload()),
		"header no JSON":                       f.compact([]byte(`x`), f.payload()),
		"header null":                          f.compact([]byte(`null`), f.payload()),
		"payload null":                         f.compact(mustJSON(f.header), []byte(`null`)),
		"payload a list":                       f.compact(mustJSON(f.header), []byte(`[]`)),
		"payload empty":                        f.compact(mustJSON(f.header), nil),
		"payload with a claim twice":           f.compact(mustJSON(f.header), []byte(strings.Replace(string(f.payload()), `{`, `{"exp":1,`, 1))),
		"payload with a tail":                  f.compact(mustJSON(f.header), append(f.payload(), ' ')),
		"payload of another order":             f.compact(mustJSON(f.header), mustJSON(f.claims)),
		"an unknown claim":                     f.withClaim("admin", true),
		"a nonce, as identity tokens have":     f.withClaim("nonce", "x"),
		"no iss":                               f.withClaim("iss", nil),
		"another iss":                          f.withClaim("iss", "https://attacker.example"),
		"iss with a slash more":                f.withClaim("iss", issuer+"/"),
		"iss a list":                           f.withClaim("iss", []string{issuer}),
		"no aud":                               f.withClaim("aud", nil),
		"another aud":                          f.withClaim("aud", "other"),
		"aud a list with ours":                 f.withClaim("aud", []string{audience, "other"}),
		"aud a list of ours":                   f.withClaim("aud", []string{audience}),
		"no sub":                               f.withClaim("sub", nil),
		"sub of zeros":                         f.withClaim("sub", uuid.Nil.String()),
		"sub no UUID":                          f.withClaim("sub", "ada"),
		"sub in upper case":                    f.withClaim("sub", strings.ToUpper(ada().Staff.String())),
		"sub in braces":                        f.withClaim("sub", "{"+ada().Staff.String()+"}"),
		"no org":                               f.withClaim("org", nil),
		"no jti":                               f.withClaim("jti", nil),
		"no exp":                               f.withClaim("exp", nil),
		"exp zero":                             f.withClaim("exp", 0),
		"exp past":                             f.withClaim("exp", now.Unix()-1),
		"exp now":                              f.withClaim("exp", now.Unix()),
		"exp too far":                          f.withClaim("exp", now.Unix()+601),
		"exp in a century":                     f.withClaim("exp", now.Unix()+100*365*86400),
		"exp as text":                          f.withClaim("exp", fmt.Sprint(now.Unix()+600)),
		"exp with a fraction":                  f.withClaim("exp", float64(now.Unix())+599.5),
		"exp beyond 64 bits":                   f.withClaim("exp", json.Number("99999999999999999999")),
		"exp negative":                         f.withClaim("exp", -1),
		"no iat":                               f.withClaim("iat", nil),
		"iat after exp":                        f.withClaim("iat", now.Unix()+700),
		"no nbf":                               f.withClaim("nbf", nil),
		"nbf in the future":                    f.withClaim("nbf", now.Unix()+30),
		"nbf long before iat":                  f.withClaim("nbf", now.Unix()-3600),
		"roles as text":                        f.withClaim("roles", "administrator"),
		"roles not in order":                   f.withClaim("roles", []int{6, 1}),
		"role_version negative":                f.withClaim("role_version", -1),
		"role_version as text":                 f.withClaim("role_version", "3"),
	}
	return n
}

func noneToken(f forger, alg string) string {
	h := map[string]any{"alg": alg, "kid": f.key.ID, "typ": "at+jwt"}
	return base64.RawURLEncoding.EncodeToString(mustJSON(h)) + "." + base64.RawURLEncoding.EncodeToString(f.payload()) + "."
}

func forgedKid(f forger, kid string) string { return f.withHeader("kid", kid) }

func jwkToken(f forger, jwk map[string]any) string { return f.withHeader("jwk", jwk) }

func es256Token(t testing.TB, f forger) string {
	t.Helper()
	k, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	h := map[string]any{"alg": "ES256", "kid": f.key.ID, "typ": "at+jwt"}
	signed := base64.RawURLEncoding.EncodeToString(mustJSON(h)) + "." + base64.RawURLEncoding.EncodeToString(f.payload())
	sig, err := SignP256(rand.Reader, k, []byte(signed))
	if err != nil {
		t.Fatal(err)
	}
	return signed + "." + base64.RawURLEncoding.EncodeToString(sig)
}

func rs256Token(t testing.TB, f forger) string {
	t.Helper()
	k, err := rsa.GenerateKey(rand.Reader, 2048)
	if err != nil {
		t.Fatal(err)
	}
	h := map[string]any{"alg": "RS256", "kid": f.key.ID, "typ": "at+jwt"}
	signed := base64.RawURLEncoding.EncodeToString(mustJSON(h)) + "." + base64.RawURLEncoding.EncodeToString(f.payload())
	sum := sha256.Sum256([]byte(signed))
	sig, err := rsa.SignPKCS1v15(rand.Reader, k, crypto.SHA256, sum[:])
	if err != nil {
		t.Fatal(err)
	}
	return signed + "." + base64.RawURLEncoding.EncodeToString(sig)
}

// TestNegativeTokens is row 14 of what a hostile tablet sends: all refused, with one message.
func TestNegativeTokens(t *testing.T) {
	c := &clock{start}
	ring := mustRing(t, start)
	f := newForger(ring.keys[0], start)
	v := NewVerifier(ring, issuer, audience, c.now)
	if _, err := v.Verify(f.token()); err != nil {
		t.Fatalf("the forger's own form of a good token: %v", err)
	}
	vectors := negativeTokens(t, f, start)
	if len(vectors) < 60 {
		t.Fatalf("%d vectors, want at least 60", len(vectors))
	}
	words := errUnauthenticated().Error()
	for name, token := range vectors {
		for range 2 { // the second time past the cache
			claims, err := v.Verify(token)
			if !refused(err) || err.Error() != words || fault.Of(err).Err != nil || !cmp.Equal(claims, Claims{}) {
				t.Errorf("%s: %v, %v", name, claims, err)
			}
		}
	}
	t.Logf("%d vectors refused", len(vectors))
}

// TestForeignVector is the example of RFC 8037 appendix A.4 (from memory): a signature that verifies, under a header that is not ours.
func TestForeignVector(t *testing.T) {
	const jws = "eyJhbGciOiJFZERTQSJ9.RXhhbXBsZSBvZiBFZDI1NTE5IHNpZ25pbmc" +
		".hgyY0il_MGCjP0JzlnLWG1PPOt7-09PGcvMg3AIbQR6dWbhijcNR4ki4iylGjg5BhVsPt9g7sVvpAr_MuM0KAg"
	seed, err := base64.RawURLEncoding.DecodeString("nWGxne_9WmC6hEr0kuwsxERJxWl7MmkZcDusAxyuf2A")
	if err != nil {
		t.Fatal(err)
	}
	key := newSigningKey(seed, start)
	parts := strings.Split(jws, ".")
	sig, _ := base64.RawURLEncoding.DecodeString(parts[2])
	if !ed25519.Verify(key.Public(), []byte(parts[0]+"."+parts[1]), sig) {
		t.Fatal("the vector itself does not verify")
	}
	c := &clock{start}
	if _, err := NewVerifier(Keyring{keys: []SigningKey{key}}, issuer, audience, c.now).Verify(jws); !refused(err) {
		t.Errorf("accepted: %v", err)
	}
}

func FuzzVerify(f *testing.F) {
	c := &clock{start}
	ring := Keyring{keys: []SigningKey{newSigningKey(make([]byte, 32), start)}}
	good := mustSign(f, ring, start)
	f.Add(good)
	for _, token := range negativeTokens(f, newForger(ring.keys[0], start), start) {
		if len(token) < 4096 {
			f.Add(token)
		}
	}
	f.Fuzz(func(t *testing.T, token string) {
		claims, err := NewVerifier(ring, issuer, audience, c.now).Verify(token)
		if err != nil {
			return
		}
		again, err := sign(ring.keys[0], &claims) // Ed25519 signs without chance, so a good token has one form
		if err != nil || again != token {
			t.Errorf("accepted %q, which signs as %q", token, again)
		}
	})
}

func BenchmarkVerify(b *testing.B) {
	c := &clock{start}
	ring := mustRing(b, start)
	token := mustSign(b, ring, start)
	b.Run("anew", func(b *testing.B) {
		v := NewVerifier(ring, issuer, audience, c.now)
		for b.Loop() {
			if _, err := v.parse(token); err != nil {
				b.Fatal(err)
			}
		}
	})
	b.Run("remembered", func(b *testing.B) {
		v := NewVerifier(ring, issuer, audience, c.now)
		for b.Loop() {
			if _, err := v.Verify(token); err != nil {
				b.Fatal(err)
			}
		}
	})
}
