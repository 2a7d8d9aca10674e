package auth

import (
	"bytes"
	"sync"

	"github.com/google/uuid"

	"needlebook/internal/store"
)

// Admissions answers Admit, Author and GetDevice for many calls: it keeps the accounts and devices that it decoded lately beside the stored bytes they were decoded from,
// and decodes again only what is stored otherwise now. So it never answers anything that they would not. It may be used concurrently.
type Admissions struct {
	accounts decoded[Account]
	devices  decoded[Device]
}

// Admit is the function of the same name.
func (a *Admissions) Admit(r store.Reader, c Claims) (Principal, error) {
	return admit(r, c, a.accounts.get, a.devices.get)
}

// Author is the function of the same name. Of a page's edits, which mostly have one author, all but the first cost a read and a comparison.
func (a *Admissions) Author(r store.Reader, org, staff uuid.UUID) (Principal, error) {
	return author(r, org, staff, a.accounts.get)
}

// Device is GetDevice.
func (a *Admissions) Device(r store.Reader, org, id uuid.UUID) (Device, error) {
	d, err := a.devices.get(r, deviceKey(id), id)
	return deviceOf(org, d, err)
}

// maxDecoded bounds what is kept of each; then all of it is forgotten.
const maxDecoded = 20_000

// decoded keeps decoded values by id. The values are shared: they are not to be changed.
type decoded[T any] struct {
	mu   sync.Mutex
	kept map[uuid.UUID]decodedValue[T]
}

type decodedValue[T any] struct {
	stored []byte
	value  T
}

// get is what is stored under key, which is id's alone; store.ErrNotFound when it is absent.
func (d *decoded[T]) get(r store.Reader, key []byte, id uuid.UUID) (T, error) {
	var none T
	b, err := r.Get(key)
	if err != nil {
		return none, err
	}
	d.mu.Lock()
	have := d.kept[id]
	d.mu.Unlock()
	if have.stored != nil && bytes.Equal(have.stored, b) {
		return have.value, nil
	}
	v, err := decode[T](b)
	if err != nil {
		return none, err
	}
	d.keep(id, decodedValue[T]{bytes.Clone(b), v})
	return v, nil
}

func (d *decoded[T]) keep(id uuid.UUID, v decodedValue[T]) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.kept == nil || len(d.kept) >= maxDecoded {
		d.kept = map[uuid.UUID]decodedValue[T]{}
	}
	d.kept[id] = v
}
