package fault

import (
	"strings"

	faultv1 "needlebook/gen/needlebook/fault/v1"
)

// Class is the kind of a refusal in the words of google.rpc.Code, lower case. internal/service maps it to a code of the wire.
type Class string

// The classes in use.
const (
	InvalidArgument    Class = "invalid_argument"
	NotFound           Class = "not_found"
	AlreadyExists      Class = "already_exists"
	Unauthenticated    Class = "unauthenticated"
	PermissionDenied   Class = "permission_denied"
	FailedPrecondition Class = "failed_precondition"
	Aborted            Class = "aborted"
	OutOfRange         Class = "out_of_range"
	ResourceExhausted  Class = "resource_exhausted"
	Unavailable        Class = "unavailable"
	Internal           Class = "internal"
	DataLoss           Class = "data_loss"
	Unimplemented      Class = "unimplemented"
)

// Actor is who can put a refusal right.
type Actor string

// Those who act.
const (
	Person        Actor = "the person who was charting"
	Lead          Actor = "the medical lead"
	Administrator Actor = "an administrator of the organisation"
	Operator      Actor = "whoever runs the server"
	Developer     Actor = "the developer of the client"
	Client        Actor = "the tablet, by itself"
	Nobody        Actor = "nobody; all is as it should be"
)

// Entry is what is to be known about one reason.
type Entry struct {
	// Reason is the entry's key.
	Reason faultv1.Reason
	// Class decides the code on the wire.
	Class Class
	// Retry is true when the same request, unchanged, may succeed later.
	Retry bool
	// Meaning says in one sentence what happened, to a person.
	Meaning string
	// Cause says how it comes about.
	Cause string
	// Fix says what to do.
	Fix string
	// Acts is who does it.
	Acts Actor
}

// Lookup returns the entry of a reason, and false for REASON_UNSPECIFIED and for numbers that this version does not know.
func Lookup(r faultv1.Reason) (Entry, bool) {
	for _, e := range Entries() {
		if e.Reason == r {
			return e, true
		}
	}
	return Entry{}, false
}

// Entries returns the whole catalogue in the order of the schema. The slice is the caller's own.
func Entries() []Entry {
	return []Entry{
		{
			faultv1.Reason_REASON_INVALID_FIELD, InvalidArgument, false,
			"A field holds something that is not allowed there.",
			"A value was mistyped, or the client does not check what the schema says.",
			"Change the field named to what is wanted there.", Person,
		},
		{
			faultv1.Reason_REASON_NOT_FOUND, NotFound, false,
			"Nothing is there under this id.",
			"The id was mistyped, the record was never made, or it belongs to someone who is not shared with you. The answer is the same for each.",
			"Search for the record again.", Person,
		},
		{
			faultv1.Reason_REASON_UNAUTHENTICATED, Unauthenticated, false,
			"You are not signed in any more.",
			"The access token is absent, expired, altered, or was made for something else; or your roles changed since it was made.",
			"Refresh the token; when that is refused too, sign in. What is charted on the tablet stays there.", Client,
		},
		{
			faultv1.Reason_REASON_NOT_ALLOWED, PermissionDenied, false,
			"Your role does not allow this.",
			"The table of rights has no entry for this action and your roles, or the record is of a clinic where you do not work.",
			"Ask a colleague who may do it, or an administrator for the role. For a patient of another clinic, open the record with a reason.", Administrator,
		},
		{
			faultv1.Reason_REASON_DEVICE_REVOKED, PermissionDenied, false,
			"This tablet was revoked.",
			"An administrator revoked the device, as one does when it is lost or replaced.",
			"The tablet removes what it can read and keeps its unsent work sealed. Hand the sealed work in; a person then releases each edit or gives it up.", Administrator,
		},
		{
			faultv1.Reason_REASON_ACTOR_NOT_YOURS, PermissionDenied, false,
			"The page was made by another device than the one that sent it.",
			"A tablet's store was copied to another tablet, or someone tries to write in another's name.",
			"Start a new replica on this tablet; look in the audit log when nobody copied a store.", Administrator,
		},
		{
			faultv1.Reason_REASON_RESUME_FROM, FailedPrecondition, false,
			"The page does not continue where the server stands.",
			"An earlier page or its answer was lost on the way.",
			"Send the edits from the counter that the detail names.", Client,
		},
		{
			faultv1.Reason_REASON_DOT_COLLISION, Aborted, false,
			"Two different edits carry the same number of the same replica.",
			"A tablet was restored from a copy, or copied to a second one, and both went on charting.",
			"Start a new replica and offer again the edits that the server lacks. Nothing is lost.", Client,
		},
		{
			faultv1.Reason_REASON_BAD_SIGNATURE, InvalidArgument, false,
			"The signature does not belong to what was sent.",
			"The bytes were altered on the way, or signed with a key that is not the device's.",
			"Send it again; when it is refused again, enrol the tablet anew.", Client,
		},
		{
			faultv1.Reason_REASON_EPOCH_CHANGED, OutOfRange, false,
			"The server was restored since this tablet last spoke with it.",
			"The cursor is from before the restore.",
			"Pull from the beginning and offer again what the server lacks. Nothing is lost.", Client,
		},
		{
			faultv1.Reason_REASON_BAD_CURSOR, InvalidArgument, false,
			"The place to continue from was not made for this tablet.",
			"The cursor was altered, or copied from another device.",
			"Pull from the beginning.", Client,
		},
		{
			faultv1.Reason_REASON_UNKNOWN_CONTEXT, FailedPrecondition, true,
			"The edit builds on edits that this server has never seen.",
			"Another tablet has not handed them in yet, or the server was restored from a backup that lacks them.",
			"Nothing: the edit waits and takes effect when they arrive. When they are lost for good, the lead gives it up or releases it.", Client,
		},
		{
			faultv1.Reason_REASON_ID_REUSED, AlreadyExists, false,
			"The same id came before with another content.",
			"The client made one id for two edits.",
			"Make a new id for each edit before its first use.", Developer,
		},
		{
			faultv1.Reason_REASON_ALREADY_APPLIED, AlreadyExists, false,
			"This edit came before; nothing was done again.",
			"The answer to the first try was lost on the way.",
			"Nothing.", Nobody,
		},
		{
			faultv1.Reason_REASON_SCHEMA_TOO_NEW, FailedPrecondition, true,
			"The edit holds something that this server does not know yet.",
			"The tablet's version is newer than the server's.",
			"Bring the server up to date; the edit is kept and takes effect then.", Operator,
		},
		{
			faultv1.Reason_REASON_NOT_CANONICAL, InvalidArgument, false,
			"The edit's bytes are not in the one form that an edit has.",
			"The client encodes edits in a way of its own.",
			"Encode as docs/format.md says; use the core rather than a second encoder.", Developer,
		},
		{
			faultv1.Reason_REASON_AUTHOR_NOT_ALLOWED, PermissionDenied, false,
			"The edit's author may not make this change.",
			"The author's roles do not allow writing this kind of record, or changed since.",
			"Someone who may make the change releases the edit, or gives it up with a reason.", Lead,
		},
		{
			faultv1.Reason_REASON_OUTPUT_ONLY, InvalidArgument, false,
			"The edit writes a field that only the server sets.",
			"The client sends back what it read, or sets what it should not.",
			"Leave the field named out of the edit.", Developer,
		},
		{
			faultv1.Reason_REASON_SIGNED_VALUES_DIFFER, FailedPrecondition, false,
			"What was signed differs from what the record held at that point.",
			"The values on the screen were not those of the stated version.",
			"Read the session again and sign what it shows.", Person,
		},
		{
			faultv1.Reason_REASON_TOO_MANY_SIBLINGS, FailedPrecondition, false,
			"This field already has as many different values as a person can settle.",
			"Many tablets wrote it without having seen one another.",
			"Settle the field, then make the change again.", Person,
		},
		{
			faultv1.Reason_REASON_RECORD_FULL, ResourceExhausted, false,
			"The record would be larger than a record may be.",
			"Very many entries or very long texts were put into one record.",
			"Continue in a new record.", Person,
		},
		{
			faultv1.Reason_REASON_ELEMENT_HELD, FailedPrecondition, true,
			"The edit changes an entry that is itself held back.",
			"The edit that made the entry failed a check and waits for a person.",
			"Judge the edit that made the entry; this one follows it.", Lead,
		},
		{
			faultv1.Reason_REASON_TOO_LARGE, ResourceExhausted, false,
			"What was sent is larger than its limit.",
			"A page, field or photo exceeds what the schema allows.",
			"Send smaller pages; the detail names the limit.", Client,
		},
		{
			faultv1.Reason_REASON_RATE_LIMITED, ResourceExhausted, true,
			"There were too many tries in a short time.",
			"A password was mistyped often, or a client calls in a loop.",
			"Wait for the time that the detail names, then try again.", Client,
		},
		{
			faultv1.Reason_REASON_DISK_FULL, ResourceExhausted, true,
			"The server's disk takes no more writing; reading goes on.",
			"The disk is full or became read-only.",
			"Make room on the server's disk. Tablets keep their work until then.", Operator,
		},
		{
			faultv1.Reason_REASON_UNAVAILABLE, Unavailable, true,
			"The server is stopping or cannot write; nothing of this call was taken.",
			"The server is being restarted, or its store failed.",
			"Try again in a while; look at the server's log when it lasts.", Client,
		},
		{
			faultv1.Reason_REASON_INTERNAL, Internal, true,
			"Something went wrong inside the server.",
			"A defect of the server.",
			"Look for the request id in the server's log and report it.", Operator,
		},
		{
			faultv1.Reason_REASON_UNSETTLED_CONFLICT, FailedPrecondition, false,
			"Some fields hold different values that must be settled first.",
			"Two people wrote the same field without having seen each other's value.",
			"Choose a value for each field named, then do this again.", Person,
		},
		{
			faultv1.Reason_REASON_STALE_READ, Aborted, false,
			"The values changed since you read them.",
			"Someone else wrote in between.",
			"Read again, and make the change on what is there now.", Person,
		},
		{
			faultv1.Reason_REASON_BAD_CODE, Unauthenticated, false,
			"This code opens nothing: it is wrong, used or expired.",
			"Codes work once and for a short time, and are easily mistyped.",
			"Compare what you typed with the code; ask an administrator for a new one.", Administrator,
		},
		{
			faultv1.Reason_REASON_BAD_PASSWORD, Unauthenticated, false,
			"The name or the password is wrong.",
			"One of them was mistyped, or the account was closed. The answer is the same for each.",
			"Type both again; when the password is forgotten, ask an administrator for a new invitation.", Person,
		},
		{
			faultv1.Reason_REASON_DATA_LOSS, DataLoss, false,
			"A stored value fails its own check, so the server stopped writing.",
			"The disk or the file was damaged, or the file was changed by another program.",
			"Stop the server, run needlebook verify, and restore a backup to a new path. Tablets keep their work.", Operator,
		},
		{
			faultv1.Reason_REASON_CLIENT_TOO_OLD, FailedPrecondition, false,
			"This version of the client is too old for this call.",
			"The server was brought up to date and the client was not.",
			"Bring the client up to date. What it holds can still be handed in.", Client,
		},
		{
			faultv1.Reason_REASON_BAD_QUANTITY, InvalidArgument, false,
			"A quantity is not a decimal in the stated form and range.",
			"It holds letters, an exponent, too many digits, a sign, or a unit that does not belong there.",
			"Write digits with at most one point, such as 12.5, within the range named.", Person,
		},
		{
			faultv1.Reason_REASON_UNKNOWN_PRODUCT, InvalidArgument, false,
			"The formulary has no product of this name.",
			"The name was mistyped, or the product is not in the formulary edition in use.",
			"Use the nonproprietary name as the formulary lists it.", Person,
		},
		{
			faultv1.Reason_REASON_CANNOT_RECKON, FailedPrecondition, false,
			"This cannot be worked out from what was given.",
			"A figure that the calculation needs is absent, or the figures contradict one another.",
			"Give the figure named.", Person,
		},
		{
			faultv1.Reason_REASON_GIVEN_UP, FailedPrecondition, false,
			"A person gave this edit up after it was held.",
			"The lead judged that it should not take effect.",
			"Nothing; the edit stays in the ledger with the reason given. Make the change anew if it should stand after all.", Nobody,
		},
		{
			faultv1.Reason_REASON_HANDED_IN_SEALED, FailedPrecondition, false,
			"This edit came in sealed, outside an exchange of its tablet.",
			"The tablet could not be opened any more, or its sealed work was handed in from a file.",
			"Read the edit with its author and its time; release it, or give it up with a reason.", Lead,
		},
		{
			faultv1.Reason_REASON_UNIMPLEMENTED, Unimplemented, false,
			"This server does not answer this call.",
			"The schema has the call already; this version of the server does not yet.",
			"Ask a server of a newer version.", Operator,
		},
	}
}

// Name is a reason as errors carry it on the wire: without the prefix REASON_.
func Name(r faultv1.Reason) string {
	return strings.TrimPrefix(r.String(), "REASON_")
}
