package main

import (
	"bytes"
	"context"
	"crypto/sha256"
	"flag"
	"fmt"
	"os"
	"path/filepath"

	tracev1 "needlebook/gen/needlebook/trace/v1"
	"needlebook/internal/durable"
)

const exportPatientHelp = `
Writes all records of one person, those linked to hers among them, to a file:

  pdf      a treatment record to read and to print
  fhir     FHIR R4 resources, one a line, for other systems
  csv      tables in a zip archive, for spreadsheets
  records  our own records with their history, one a line

  needlebook export patient --id 1f0e... --format pdf --out record.pdf \
    --reason 'asked for by the patient' \
    --server http://127.0.0.1:8740 --name lena --password-file password

Only the medical lead may. The reason is in the audit log.`

func exportCommand() command {
	return command{name: "export", short: "write a patient's records, or everything, for others", sub: []command{
		{name: "patient", usage: "--id ID --out FILE --reason TEXT [flags]", short: "write the records of one person to a file", long: exportPatientHelp,
			run: runExportPatient},
		{name: "--all", usage: "--out DIR [flags]", short: "write everything to a new folder, for a move", long: exportAllHelp, run: runExportAll},
	}}
}

// exportFormats is the forms by the names that --format takes.
func exportFormats() map[string]tracev1.ExportFormat {
	return map[string]tracev1.ExportFormat{
		"pdf": tracev1.ExportFormat_EXPORT_FORMAT_DOCUMENT_PDF, "fhir": tracev1.ExportFormat_EXPORT_FORMAT_FHIR_R4_NDJSON,
		"csv": tracev1.ExportFormat_EXPORT_FORMAT_CSV, "records": tracev1.ExportFormat_EXPORT_FORMAT_RECORDS_JSON,
	}
}

func runExportPatient(ctx context.Context, e env, args []string) error {
	f := newTraceFlags("patient")
	f.Init("export patient", flag.ContinueOnError)
	id := f.idFlag("id", "the patient's `id`")
	format := f.String("format", "pdf", "`form`: pdf, fhir, csv or records")
	out := f.String("out", "", "`file` to write; never over one that is there")
	reason := f.String("reason", "", "`why`, for the audit log")
	if err := parseFlags(f.FlagSet, args); err != nil {
		return err
	}
	if *id == nil || *out == "" || *reason == "" {
		return usagef("%s: want --id, --out and --reason", f.Name())
	}
	form, ok := exportFormats()[*format]
	if !ok {
		return usagef("%s: --format: read %q, want pdf, fhir, csv or records", f.Name(), *format)
	}
	if err := free(f.Name(), "--out", *out); err != nil {
		return err
	}
	o, err := f.signInToTrace(ctx)
	if err != nil {
		return err
	}
	whole, data, err := o.exported(ctx, &tracev1.ExportPatientRequest{PatientId: **id, Format: form, Reason: *reason})
	if err != nil {
		return err
	}
	if err := writeNew(*out, data); err != nil {
		return err
	}
	if f.json {
		return printJSON(e.stdout, whole)
	}
	_, err = fmt.Fprintf(e.stdout, "%s: %d bytes, SHA-256 %x\n", *out, len(data), whole.GetSha256())
	return err
}

// exported is all pieces of an export, and the last answer without its piece.
func (o *tracer) exported(ctx context.Context, req *tracev1.ExportPatientRequest) (*tracev1.ExportPatientResponse, []byte, error) {
	var data []byte
	for {
		resp, err := ask(ctx, o.office, o.trace.ExportPatient, req)
		if err != nil {
			return nil, nil, err
		}
		data, resp.Data = append(data, resp.GetData()...), nil
		if req.PageToken = resp.GetNextPageToken(); req.PageToken != "" {
			continue
		}
		if sum := sha256.Sum256(data); !bytes.Equal(sum[:], resp.GetSha256()) {
			return nil, nil, fmt.Errorf("what came does not have the hash that the server states")
		}
		return resp, data, nil
	}
}

// free makes sure that nothing is at a path yet.
func free(name, flagName, path string) error {
	if _, err := os.Lstat(path); err == nil {
		return usagef("%s: %s: %s is there already, want a new one", name, flagName, path)
	}
	return nil
}

// writeNew puts a file on the disk whole or not at all, for its owner's eyes only.
func writeNew(path string, data []byte) error {
	f, err := os.CreateTemp(filepath.Dir(path), durable.TempPrefix+"export-*")
	if err != nil {
		return fmt.Errorf("write %s: %w", path, err)
	}
	defer os.Remove(f.Name()) // gone already when it got its name
	_, err = f.Write(data)
	if err == nil {
		err = f.Sync()
	}
	if closeErr := f.Close(); err == nil {
		err = closeErr
	}
	if err == nil {
		err = durable.Publish(f.Name(), path)
	}
	if err != nil {
		return fmt.Errorf("write %s: %w", path, err)
	}
	return nil
}
