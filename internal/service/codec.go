package service

import (
	"errors"
	"fmt"
	"io"
	"maps"
	"sync"
	"time"

	"connectrpc.com/connect"
	"github.com/klauspost/compress/gzip"
	"github.com/klauspost/compress/zstd"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/encoding/protowire"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
)

// Bounds of what a message unfolds to in memory. The largest honest ones, a hello of 40,000 edits and a page of 1,000 with twenty writes each, stay
// within; two bytes on the wire can be a hundred in memory.
const (
	maxParts = 1 << 16
	maxDepth = 32
)

var errUnfolds = errors.New("message has more parts, or deeper ones, than any call needs")

// binaryCodec is protobuf with bounds on what it unfolds to.
type binaryCodec struct{}

func (binaryCodec) Name() string { return "proto" }

func (binaryCodec) Marshal(m any) ([]byte, error) { return proto.Marshal(m.(proto.Message)) }

func (binaryCodec) MarshalAppend(b []byte, m any) ([]byte, error) {
	return proto.MarshalOptions{}.MarshalAppend(b, m.(proto.Message))
}

func (binaryCodec) Unmarshal(b []byte, m any) error {
	msg, ok := m.(proto.Message)
	if !ok {
		return fmt.Errorf("%T is no message", m)
	}
	parts := maxParts
	if err := countParts(msg.ProtoReflect().Descriptor(), b, &parts, maxDepth); err != nil {
		return err
	}
	return proto.UnmarshalOptions{RecursionLimit: maxDepth + 1}.Unmarshal(b, msg)
}

// countParts walks a message on the wire and takes one from parts for each message, string and bytes in it.
func countParts(md protoreflect.MessageDescriptor, b []byte, parts *int, depth int) error {
	if depth == 0 {
		return errUnfolds
	}
	for len(b) > 0 {
		number, typ, n := protowire.ConsumeTag(b)
		if n < 0 {
			return errUnfolds
		}
		b = b[n:]
		if n = protowire.ConsumeFieldValue(number, typ, b); n < 0 {
			return errUnfolds
		}
		if typ == protowire.BytesType {
			if *parts--; *parts < 0 {
				return errUnfolds
			}
			fd := md.Fields().ByNumber(number)
			if content, size := protowire.ConsumeBytes(b); fd != nil && fd.Message() != nil && size > 0 {
				if err := countParts(fd.Message(), content, parts, depth-1); err != nil {
					return err
				}
			}
		}
		b = b[n:]
	}
	return nil
}

// jsonCodec is JSON with the names of the schema, zeros and empty lists written out, as the command line prints it. Fields that the schema
// does not know are refused: a mistyped one would be a dose left out.
type jsonCodec struct{ unread *unread }

func (jsonCodec) Name() string { return "json" }

func (jsonCodec) Marshal(m any) ([]byte, error) {
	return protojson.MarshalOptions{UseProtoNames: true, EmitDefaultValues: true}.Marshal(m.(proto.Message))
}

func (c jsonCodec) Unmarshal(b []byte, m any) error {
	msg, ok := m.(proto.Message)
	if !ok {
		return fmt.Errorf("%T is no message", m)
	}
	parts := 0
	for _, c := range b { // a brace or comma in a text counts, too; there are not so many
		if c == '{' || c == '[' || c == ',' {
			parts++
		}
	}
	if parts > 2*maxParts {
		return errUnfolds
	}
	err := checkJSON(msg.ProtoReflect().Descriptor(), b)
	if err == nil {
		return protojson.UnmarshalOptions{RecursionLimit: maxDepth}.Unmarshal(b, msg)
	}
	proto.Reset(msg)
	if !c.unread.put(msg, err) {
		return err
	}
	return nil
}

// unread are messages that could not be read, each with why. Connect makes one text of what a codec returns, so that the field and the reason would be
// lost: the codec hands the message on, empty, and the interceptor, which comes next, takes the error from here in its stead. It may be used concurrently.
type unread struct {
	mu  sync.Mutex
	why map[proto.Message]unreadError
}

type unreadError struct {
	err error
	at  time.Time
}

// Some of gRPC's calls end between codec and interceptor. What they leave is forgotten when there is much of it, long after any call.
const (
	mostUnread = 4 * MaxRunning
	unreadLife = 2 * bodyAtMost
)

func newUnread() *unread { return &unread{why: map[proto.Message]unreadError{}} }

// put keeps why a message could not be read; false when there is no room.
func (u *unread) put(m proto.Message, err error) bool {
	u.mu.Lock()
	defer u.mu.Unlock()
	now := time.Now()
	if len(u.why) >= mostUnread {
		maps.DeleteFunc(u.why, func(_ proto.Message, e unreadError) bool { return now.Sub(e.at) > unreadLife })
	}
	if len(u.why) >= mostUnread {
		return false
	}
	u.why[m] = unreadError{err, now}
	return true
}

// take returns why a message could not be read, and forgets it; nil for one that was.
func (u *unread) take(m any) error {
	msg, ok := m.(proto.Message)
	if !ok {
		return nil
	}
	u.mu.Lock()
	defer u.mu.Unlock()
	e := u.why[msg]
	delete(u.why, msg)
	return e.err
}

// compressMinBytes is the size from which an answer is packed; below it packing costs more than it saves.
const compressMinBytes = 1024

// zstdWindowBytes bounds the memory of one unpacker.
const zstdWindowBytes = 4 << 20

// maxUnpacked is where unpacking ends. Connect reads a message that is too large to its end, to tell its size; a bomb would keep a core busy.
const maxUnpacked = MaxMessageBytes + 64<<10

var errUnpacked = errors.New("unpacks to more than any message")

// unpacker bounds what comes out of a decompressor.
type unpacker struct {
	reset func(io.Reader) error
	from  io.Reader
	left  int
	over  bool // the stream says of itself that it is too large
}

// Read implements connect.Decompressor.
func (u *unpacker) Read(p []byte) (int, error) {
	if u.left <= 0 {
		return 0, errUnpacked
	}
	p = p[:min(len(p), u.left)]
	n, err := len(p), error(nil)
	if u.over {
		clear(p) // Connect calls a message too large only once it has read too much
	} else if n, err = u.from.Read(p); errors.Is(err, zstd.ErrDecoderSizeExceeded) || errors.Is(err, zstd.ErrWindowSizeExceeded) {
		u.over, err = true, nil
	}
	u.left -= n
	return n, err
}

// Close lets go of the source.
func (u *unpacker) Close() error { return nil }

// Reset implements connect.Decompressor.
func (u *unpacker) Reset(r io.Reader) error {
	u.left, u.over = maxUnpacked, false
	return u.reset(r)
}

func newGzipDecompressor() connect.Decompressor {
	z := &gzip.Reader{}
	return &unpacker{from: z, reset: z.Reset}
}

func newGzipCompressor() connect.Compressor { return gzip.NewWriter(io.Discard) }

func newZstdDecompressor() connect.Decompressor {
	d, err := zstd.NewReader(nil, zstd.WithDecoderConcurrency(1), zstd.WithDecoderLowmem(true), zstd.WithDecoderMaxWindow(zstdWindowBytes),
		zstd.WithDecoderMaxMemory(2*MaxMessageBytes))
	if err != nil {
		panic(err) // options that do not depend on input
	}
	return &unpacker{from: d, reset: d.Reset}
}

func newZstdCompressor() connect.Compressor {
	e, err := zstd.NewWriter(nil, zstd.WithEncoderConcurrency(1), zstd.WithLowerEncoderMem(true), zstd.WithWindowSize(1<<20),
		zstd.WithEncoderLevel(zstd.SpeedFastest))
	if err != nil {
		panic(err) // options that do not depend on input
	}
	return e
}
