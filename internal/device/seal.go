package device

import (
	"context"
	"crypto/ecdh"
	"crypto/hpke"
	"fmt"

	"needlebook/internal/record"
	"needlebook/internal/replica"
	held "needlebook/internal/wire"
)

// Every edit that the server does not have is stored a second time, sealed to the server's public key (HPKE of RFC 9180: DHKEM(X25519, HKDF-SHA256),
// HKDF-SHA256, AES-256-GCM). This device cannot open it; whoever is signed in at the server may hand it in.

// sealer is the server's public key; nil when the device was enrolled before servers gave one, or what it was given is none.
func (i Identity) sealer() hpke.PublicKey {
	key, err := hpke.DHKEM(ecdh.X25519()).NewPublicKey(i.SealingKey)
	if err != nil {
		return nil
	}
	return key
}

// sealUnsent seals what has no seal yet. With signed, what was sealed while the device's key was locked is sealed again with a signature in it. Nothing is
// sealed without a key to seal to: that must keep nobody from charting.
func (d *Device) sealUnsent(signed bool) (replica.Changes, error) {
	var ch replica.Changes
	to := d.identity.sealer()
	if to == nil {
		return ch, nil
	}
	for _, t := range d.replica.ToSeal(signed) {
		if d.signer.ready() {
			signature, err := d.signer.sign(t.Statement())
			if err != nil {
				return ch, err
			}
			t.Signature = signature
		}
		sealed, err := hpke.Seal(to, hpke.HKDFSHA256(), hpke.AES256GCM(), d.sealInfo(&t), t.AppendBinary(nil))
		if err != nil {
			return ch, fmt.Errorf("seal edit %v: %w", t.Edit.Dot, err)
		}
		ch = joined(ch, d.replica.Sealed(t.Edit.Dot, sealed, len(t.Signature) > 0))
	}
	return ch, nil
}

func (d *Device) sealInfo(t *held.SealedText) []byte {
	return held.SealInfo(record.ID(d.identity.Organisation), record.ID(d.identity.Device), t.Edit.Dot)
}

// sealNow seals what has no seal yet and stores it.
func (d *Device) sealNow(ctx context.Context, signed bool) error {
	ch, err := d.sealUnsent(signed)
	if err != nil {
		return err
	}
	return d.commit(ctx, ch)
}

// Outbox is the device's sealed edits, for a file that any replica of the organisation can hand in.
func (d *Device) Outbox(ctx context.Context) (held.Outbox, error) {
	if err := d.sealNow(ctx, d.signer.ready()); err != nil {
		return held.Outbox{}, err
	}
	return d.outbox(ctx)
}

// outbox reads the sealed edits from the store.
func (d *Device) outbox(ctx context.Context) (held.Outbox, error) {
	o := held.Outbox{Org: record.ID(d.identity.Organisation), Device: record.ID(d.identity.Device)}
	rows, err := d.rows(ctx)
	if err == nil {
		o.Edits, err = replica.SealedRows(rows)
	}
	return o, err
}

// ready reports whether the key can sign without a passphrase that is not here.
func (s *signer) ready() bool {
	if s.key == nil && s.locked {
		return false
	}
	_, err := s.open()
	s.locked = err != nil
	return err == nil
}
