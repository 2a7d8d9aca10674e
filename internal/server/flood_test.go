package server_test

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"net"
	"strings"
	"syscall"
	"testing"
	"time"

	accessv1 "needlebook/gen/needlebook/access/v1"
)

// Frames of HTTP/2 (RFC 9113), written by hand: a client library would keep to the rules.
const (
	h2Preface      = "PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n"
	h2Headers      = 0x1
	h2Reset        = 0x3
	h2Settings     = 0x4
	h2Continuation = 0x9
	h2EndHeaders   = 0x4
)

func h2Frame(kind, flags byte, stream uint32, payload []byte) []byte {
	b := binary.BigEndian.AppendUint32(nil, uint32(len(payload))<<8|uint32(kind))
	b = append(b, flags)
	b = binary.BigEndian.AppendUint32(b, stream)
	return append(b, payload...)
}

// h2Request is the fields of a POST (RFC 7541: indexed :method, :scheme and :path, then a literal :authority).
func h2Request() []byte { return append([]byte{0x83, 0x86, 0x84, 0x01, 9}, "localhost"...) }

// h2Field is a literal field that is not to be indexed; the length of the value is 127 + 2^7-ary digits.
func h2Field(name string, size int) []byte {
	b := append([]byte{0x00, byte(len(name))}, name...)
	b = append(b, 127)
	for rest := size - 127; ; rest >>= 7 {
		if rest < 128 {
			b = append(b, byte(rest))
			break
		}
		b = append(b, byte(rest&127|128))
	}
	return append(b, strings.Repeat("a", size)...)
}

// h2Dial opens a connection of HTTP/2 without TLS, as the server takes it on loopback. What it answers is read and dropped.
func (w *world) h2Dial() (c net.Conn, ended chan struct{}) {
	w.Helper()
	c = w.dial(h2Preface)
	if _, err := c.Write(h2Frame(h2Settings, 0, 0, nil)); err != nil {
		w.Fatal(err)
	}
	ended = make(chan struct{})
	go func() {
		_, _ = io.Copy(io.Discard, c) // until the server or the test ends it
		close(ended)
	}()
	return c, ended
}

// honestMeanwhile makes calls until stop is closed, and reports any that fails or takes long. It keeps well within what one caller may ask in a second:
// how fast the machine is must not make it one of those who are turned away.
func honestMeanwhile(t *testing.T, honest *person, stop <-chan struct{}) {
	t.Helper()
	var slowest time.Duration
	calls := 0
	pace := time.NewTicker(50 * time.Millisecond)
	defer pace.Stop()
	for ; ; <-pace.C {
		select {
		case <-stop:
			if calls == 0 {
				t.Error("no honest call was made meanwhile")
			}
			t.Logf("%d honest calls meanwhile, the slowest %v", calls, slowest)
			return
		default:
		}
		began := time.Now()
		if _, err := honest.access().ListAudit(t.Context(), &accessv1.ListAuditRequest{PageSize: 1}); err != nil {
			t.Errorf("an honest call meanwhile: %v", err)
			return
		}
		calls++
		if took := time.Since(began); took > slowest {
			slowest = took
		}
		if slowest > 3*time.Second {
			t.Errorf("an honest call took %v", slowest)
			return
		}
	}
}

// TestRow16_RapidReset opens streams and resets each at once (CVE-2023-44487): the server ends the connection, or keeps up with it, and honest calls are
// answered all the while.
func TestRow16_RapidReset(t *testing.T) {
	w := newWorld(t)
	honest := w.hire("lea", accessv1.Role_ROLE_MEDICAL_LEAD)
	stop := make(chan struct{})
	sent := 0
	go func() {
		defer close(stop)
		for range 3 { // connections, one after the other
			c, ended := w.h2Dial()
			for i := range uint32(20_000) {
				frames := h2Frame(h2Headers, h2EndHeaders, 2*i+1, h2Request())
				frames = append(frames, h2Frame(h2Reset, 0, 2*i+1, []byte{0, 0, 0, 8})...)
				if _, err := c.Write(frames); err != nil {
					break
				}
				sent++
			}
			_ = c.Close()
			<-ended
		}
	}()
	honestMeanwhile(t, honest, stop)
	<-stop
	t.Logf("%d streams opened and reset", sent)
}

// TestRow16_ContinuationFlood sends a header that never ends (CVE-2023-45288): the server ends the connection long before it has read much.
func TestRow16_ContinuationFlood(t *testing.T) {
	w := newWorld(t)
	honest := w.hire("lea", accessv1.Role_ROLE_MEDICAL_LEAD)
	stop := make(chan struct{})
	var cut bool
	sent := 0
	go func() {
		defer close(stop)
		c, ended := w.h2Dial()
		block := h2Field("x-flood", 8<<10)
		_, err := c.Write(h2Frame(h2Headers, 0, 1, h2Request()))
		for until := time.Now().Add(10 * time.Second); err == nil && time.Now().Before(until); {
			_, err = c.Write(h2Frame(h2Continuation, 0, 1, block))
			sent += len(block)
			select {
			case <-ended:
				err = io.EOF
			default:
			}
		}
		cut = err != nil
		_ = c.Close()
		<-ended
	}()
	honestMeanwhile(t, honest, stop)
	<-stop
	t.Logf("cut off after %d bytes of header", sent)
	if !cut {
		t.Errorf("a header of %d bytes was read on", sent)
	}
}

// TestRow16_HalfClosedStreams opens as many streams as a connection may have, none of which ever sends its body.
func TestRow16_HalfClosedStreams(t *testing.T) {
	w := newWorld(t)
	honest := w.hire("lea", accessv1.Role_ROLE_MEDICAL_LEAD)
	for range 20 {
		c, _ := w.h2Dial()
		for i := range uint32(64) { // beyond the limit of the server's, which it refuses
			if _, err := c.Write(h2Frame(h2Headers, h2EndHeaders, 2*i+1, h2Request())); err != nil {
				break
			}
		}
	}
	stop := make(chan struct{})
	time.AfterFunc(time.Second, func() { close(stop) })
	honestMeanwhile(t, honest, stop)
}

// TestRow16_TenThousandConnections holds 10,000 connections that say nothing, from as many addresses as that takes, or as many as the limit of open files lets
// this process have at both of their ends. Whoever is connected is answered at once; whoever comes new is let in within seconds, since a
// connection that says nothing is dropped.
func TestRow16_TenThousandConnections(t *testing.T) {
	w := newWorld(t)
	honest := w.hire("lea", accessv1.Role_ROLE_MEDICAL_LEAD)
	most := 10_000
	if !isLong() {
		most = 3_000
	}
	var limit syscall.Rlimit
	if err := syscall.Getrlimit(syscall.RLIMIT_NOFILE, &limit); err != nil {
		t.Fatal(err)
	}
	if can := int(limit.Cur)/2 - 500; can < most {
		t.Logf("the limit of %d open files allows %d connections, not %d", limit.Cur, can, most)
		most = can
	}
	held := 0
	for i := range most {
		d := net.Dialer{LocalAddr: &net.TCPAddr{IP: net.IPv4(127, 0, 1, byte(1+i/400))}, Timeout: 2 * time.Second}
		c, err := d.Dial("tcp", strings.TrimPrefix(w.url, "http://"))
		if err != nil {
			if errors.Is(err, syscall.EADDRNOTAVAIL) {
				t.Skipf("this machine has one loopback address: %v", err)
			}
			t.Fatalf("connection %d: %v", i, err)
		}
		defer c.Close()
		held++
	}
	began := time.Now()
	if _, err := honest.access().ListAudit(t.Context(), &accessv1.ListAuditRequest{PageSize: 1}); err != nil {
		t.Errorf("who is connected: %v", err)
	}
	if took := time.Since(began); took > 2*time.Second {
		t.Errorf("who is connected waited %v", took)
	}
	var err error
	began = time.Now()
	for range time.Tick(50 * time.Millisecond) {
		if err = w.freshCall(); err == nil || time.Since(began) > 15*time.Second {
			break
		}
	}
	if err != nil {
		t.Errorf("who comes new is not let in: %v", err)
	}
	t.Logf("beside %d connections that say nothing, a new one was answered after %v", held, time.Since(began).Round(time.Millisecond))
}

// freshCall asks for the server's health over a connection of its own.
func (w *world) freshCall() error {
	c, err := net.DialTimeout("tcp", strings.TrimPrefix(w.url, "http://"), time.Second)
	if err != nil {
		return err
	}
	defer c.Close()
	if err := c.SetDeadline(time.Now().Add(2 * time.Second)); err != nil {
		return err
	}
	if _, err := io.WriteString(c, "POST /needlebook.access.v1.AccessService/ListAudit HTTP/1.1\r\nHost: x\r\nContent-Type: application/json\r\nContent-Length: 2\r\n\r\n{}"); err != nil {
		return err
	}
	answer := make([]byte, 12)
	if _, err := io.ReadFull(c, answer); err != nil {
		return err
	}
	if string(answer) != "HTTP/1.1 401" {
		return fmt.Errorf("answered %q", answer)
	}
	return nil
}
