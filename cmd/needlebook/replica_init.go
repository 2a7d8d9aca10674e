package main

import (
	"context"
	"fmt"
	"os"

	"needlebook/internal/device"
)

const replicaInitHelp = `
Makes a folder with a store and a key of the device's own, and enrols it with a
code that an administrator made a few minutes ago. A folder that holds an
enrolled replica is never overwritten. When the answer was lost or the code was
wrong, run it again.

  needlebook replica init --dir room1 --server http://127.0.0.1:8740 \
    --code 7K3M-9PQR-2TVW-XYZ4
  needlebook replica init --dir room1 --server https://needlebook.local:8740 \
    --code 7K3M-9PQR-2TVW-XYZ4 --ca authority.pem --passphrase-file secret

With --passphrase-file the key is sealed; sign-in and sync then want the same
file. What is charted is not sealed: keep the folder on an encrypted disk.`

const replicaSignInHelp = `
Signs a person in and keeps her name as the author of what is put from now on.
Charting needs no sign-in that is still good; only sync does. When a sign-in
has ended, nothing is hidden or lost: sign in again and sync.

  needlebook replica sign-in --dir room1 --name ada --password-file password`

func runReplicaInit(ctx context.Context, e env, args []string) error {
	f := newReplicaFlags(e, "init")
	f.withKey()
	var en device.Enrolment
	f.StringVar(&en.Server, "server", "", "`address` of the server, scheme and host")
	f.StringVar(&en.Code, "code", "", "one-time `code` for the device")
	f.StringVar(&en.Label, "label", "", "what people call the device; the machine's name without it")
	f.BoolVar(&en.LimitScope, "limit-scope", false, "hold whole only the patients asked for or edited")
	authority := f.String("ca", "", "PEM `file` with the certificate that the server's is signed by")
	if _, err := f.parse(args); err != nil {
		return err
	}
	if *authority != "" {
		pem, err := os.ReadFile(*authority)
		if err != nil {
			return err
		}
		en.Authority = string(pem)
	}
	cfg, err := f.config(e)
	if err != nil {
		return err
	}
	d, err := device.Create(ctx, cfg, en)
	if err != nil {
		return err
	}
	defer d.Close()
	return printEnrolled(e, f, d)
}

type enrolledJSON struct {
	DeviceID         string `json:"device_id"`
	ReplicaID        string `json:"replica_id"`
	Label            string `json:"label"`
	Server           string `json:"server"`
	OrganisationID   string `json:"organisation_id"`
	OrganisationName string `json:"organisation_name"`
	ClinicID         string `json:"clinic_id"`
	KeyFingerprint   string `json:"key_fingerprint"`
}

func printEnrolled(e env, f *replicaFlags, d *device.Device) error {
	i := d.Identity()
	if f.json {
		return printAsJSON(e.stdout, enrolledJSON{
			i.Device.String(), uuidText(d.ReplicaID()), i.Label, i.Server, i.Organisation.String(), i.OrganisationName, i.Clinic, i.Fingerprint,
		})
	}
	var p page
	p.wrapped("", fmt.Sprintf("Enrolled at %s, %s.", i.Server, i.OrganisationName))
	p.row("device", i.Device.String())
	p.row("replica", uuidText(d.ReplicaID()))
	p.row("called", i.Label)
	p.row("fingerprint", i.Fingerprint)
	return p.write(e.stdout)
}

func runReplicaSignIn(ctx context.Context, e env, args []string) error {
	f := newReplicaFlags(e, "sign-in")
	f.withKey()
	name := f.String("name", "", "the `name` to sign in with")
	file := f.String("password-file", "", "`file` with the password, one line")
	if _, err := f.parse(args); err != nil {
		return err
	}
	if *name == "" || *file == "" {
		return usagef("%s: want --name and --password-file", f.Name())
	}
	password, err := readSecret(f.Name()+": --password-file", *file)
	if err != nil {
		return err
	}
	return f.withDevice(ctx, e, func(d *device.Device) error {
		if err := d.SignIn(ctx, *name, password); err != nil {
			return err
		}
		p := d.Person()
		if f.json {
			return printAsJSON(e.stdout, struct {
				StaffID string `json:"staff_id"`
				Name    string `json:"name"`
			}{p.Staff.String(), p.Name})
		}
		_, err := fmt.Fprintf(e.stdout, "%s works on this tablet from now on.\n", printable(p.Name))
		return err
	})
}
