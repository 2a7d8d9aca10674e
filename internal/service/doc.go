// Package service is the Connect handlers: the only place that turns a refusal into a code of the wire, and the only door to the ledger and the
// accounts from outside.
//
// Use: Open a Service on a store and mount Handler. A call passes, in this order: a request id, the recovery of panics, the limits on how many
// calls
// run at once, the gate (who is it, may she do this; before any of the body is decoded), the limits of size while the body is read, the bounds of
// the schema, the handler, and the audit log.
//
// Promise: every error carries a reason of the catalogue as a google.rpc.ErrorInfo of the domain "needlebook"; no error, log line or URL holds
// patient data; what is not in the table of rights is denied; a call that touches a record or changes access leaves an entry in the audit log,
// or is refused.
package service
