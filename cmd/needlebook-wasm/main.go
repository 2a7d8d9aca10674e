//go:build wasip1

// Command needlebook-wasm is the core as WebAssembly, for the tablet: package tabletcore behind three functions that take and give bytes. The host writes a
// call of n bytes where in says, calls core, and reads as many bytes as that answered from where out says. Memory may have grown between the calls, so a
// view of it is made anew each time.
//
// Build it with "go run ./internal/house/tablet".
package main

import (
	"unsafe"

	"golang.org/x/crypto/argon2"

	"needlebook/internal/tabletcore"
)

// border is the buffers that the host writes to and reads from; they are kept so that the collector leaves them alone.
type border struct {
	core    *tabletcore.Core
	in, out []byte
}

var at border // the one state of the module: exported functions have no other place for it

//go:wasmexport in
func in(n int32) unsafe.Pointer {
	if cap(at.in) < int(n) {
		at.in = make([]byte, n)
	}
	at.in = at.in[:n]
	return unsafe.Pointer(unsafe.SliceData(at.in))
}

//go:wasmexport out
func out() unsafe.Pointer { return unsafe.Pointer(unsafe.SliceData(at.out)) }

// keep is how large a buffer may stay between calls; loading a store needs much once.
const keep = 4 << 20

//go:wasmexport core
func core() int32 {
	if at.core == nil {
		c, err := tabletcore.New()
		if err != nil {
			panic(err) // the formulary that is built in cannot be read
		}
		at.core = c
	}
	at.out = at.core.Call(at.in)
	if cap(at.in) > keep {
		at.in = nil
	}
	return int32(len(at.out))
}

// derive makes a key of 32 bytes from the passphrase in the buffer by Argon2id: the first 16 bytes are the salt, the rest is the passphrase. memory is in
// KiB. Its memory is never given back, so the host runs it in a worker that it throws away.
//
//go:wasmexport derive
func derive(passes, memory int32) int32 {
	if len(at.in) < 16 {
		return 0
	}
	at.out = argon2.IDKey(at.in[16:], at.in[:16], uint32(passes), uint32(memory), 1, 32)
	clear(at.in)
	return int32(len(at.out))
}

func main() {}
