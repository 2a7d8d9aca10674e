// Written from the schema by "go run ./internal/house/messages"; not to be changed by hand.
//
// These are the messages as their JSON has them. A field that is absent, or has its kind's zero where absence means nothing, is left out, so every
// field is optional. Quantities are decimal strings, 64-bit numbers are strings, bytes are base64, a Timestamp is RFC 3339, an enum is its name.

/** RecordKind names a kind of record. A kind is a message with the option record. Numbers are never reused: they are hashed into edits. */
export type RecordKind =
  /** Rejected everywhere. */
  | "RECORD_KIND_UNSPECIFIED"
  /** needlebook.chart.v1.Patient */
  | "RECORD_KIND_PATIENT"
  /** needlebook.chart.v1.Appointment */
  | "RECORD_KIND_APPOINTMENT"
  /** needlebook.chart.v1.Order */
  | "RECORD_KIND_ORDER"
  /** needlebook.chart.v1.Session */
  | "RECORD_KIND_SESSION"
  /** needlebook.chart.v1.Vial */
  | "RECORD_KIND_VIAL"
  /** needlebook.chart.v1.Photo */
  | "RECORD_KIND_PHOTO"
  /** needlebook.chart.v1.ConsentText */
  | "RECORD_KIND_CONSENT_TEXT"
  /** needlebook.chart.v1.Questionnaire */
  | "RECORD_KIND_QUESTIONNAIRE"
  /** needlebook.formulary.v1.FormularyEdition */
  | "RECORD_KIND_FORMULARY_EDITION"
  /** needlebook.chart.v1.Protocol */
  | "RECORD_KIND_PROTOCOL"
  /** needlebook.chart.v1.Clinic */
  | "RECORD_KIND_CLINIC"
  /** needlebook.access.v1.Staff */
  | "RECORD_KIND_STAFF"
  /** needlebook.access.v1.Device */
  | "RECORD_KIND_DEVICE"
  /** needlebook.chart.v1.Lot */
  | "RECORD_KIND_LOT"
  /** needlebook.chart.v1.AdverseEvent */
  | "RECORD_KIND_ADVERSE_EVENT"
  /** needlebook.chart.v1.DayClose */
  | "RECORD_KIND_DAY_CLOSE";

/** Action is what an RPC does, as the table of rights knows it (internal/auth). Every RPC names exactly one; an RPC without one fails the build. */
export type Action =
  /** Rejected everywhere. */
  | "ACTION_UNSPECIFIED"
  /** Anyone may call it, signed in or not: signing in itself, enrolment by code. */
  | "ACTION_PUBLIC"
  /** Reckon a dose, a volume or a history from what the request holds; no record is read. */
  | "ACTION_RECKON"
  /** Find patients and read their records. */
  | "ACTION_READ_CHART"
  /** Edit the records of patients, sessions, vials and appointments; the kind decides further. */
  | "ACTION_EDIT_CHART"
  /** Settle concurrent values of a field. */
  | "ACTION_SETTLE"
  /** Sign a session. */
  | "ACTION_SIGN"
  /** Exchange edits and states as a tablet. */
  | "ACTION_SYNC"
  /** See edits that were held, release them or give them up. */
  | "ACTION_JUDGE_HELD"
  /** Follow a lot to the patients that had it, and recall it. */
  | "ACTION_TRACE"
  /** See and close a clinic's day. */
  | "ACTION_CLOSE_DAY"
  /** See which reviews are due. */
  | "ACTION_LIST_REVIEWS"
  /** Export a patient's records. */
  | "ACTION_EXPORT"
  /** Make codes for new devices, list and revoke devices. */
  | "ACTION_MANAGE_DEVICES"
  /** Open a record outside one's own clinics, with a reason. */
  | "ACTION_BREAK_GLASS"
  /** Read the audit log. */
  | "ACTION_READ_AUDIT"
  /** Add staff, set their roles and credentials, and administer clinics. */
  | "ACTION_MANAGE_STAFF"
  /** See figures and logbooks, which name no patient. */
  | "ACTION_READ_FIGURES";

/** Act is that a person did something at a time. Person and time agree, so they are one register. */
export interface Act {
  /** The staff id of who did it, as the device was told; the author of the edit is who recorded it. */
  by?: string;
  /** When, as the device claims. It is for people to read and orders nothing. */
  at?: string;
}

/** Void says that something recorded does not count, and why. What is voided stays and stays readable. */
export interface Void {
  /** Why, in the words of the person who voids. */
  reason?: string;
  /** The staff id of that person. */
  by?: string;
  /** When, as the device claims. It orders nothing. */
  at?: string;
}

/** Note is a remark on a record. Notes are added and voided, not rewritten. */
export interface Note {
  /** The element's id: a random UUID as text in lower case, made with it and never changed. The engine fills it. */
  id?: string;
  /** The remark. Never a place for a dose: doses have fields of their own. */
  text?: string;
  /** Who wrote it and when. */
  written?: Act;
  /** That it does not count, and why; absent while it does. */
  void?: Void;
}

/** Settlement says why concurrent values of one field were settled as they were. The value itself is in the field; it was written by the same edit. */
export interface Settlement {
  /** The element's id: a random UUID as text in lower case, made with it and never changed. The engine fills it. */
  id?: string;
  /** Which field and why. */
  choice?: SettledChoice;
}

/** SettledChoice is one settling of one field. */
export interface SettledChoice {
  /** The field, as paths of EditRecord name it. */
  path?: string;
  /** Why this value, in the words of the person who settled. */
  reason?: string;
  /** The staff id of that person. */
  by?: string;
  /** When, as the device claims. It orders nothing. */
  at?: string;
}

/** Device is an installation that was enrolled and makes edits. When it was last heard of is not here but in the list of devices. */
export interface Device {
  /** The record's id: a random UUID as text in lower case, made with it and never changed. The engine fills it. */
  id?: string;
  /** The name that people know it by, such as the room it lies in. Any member of staff may correct it. */
  label?: string;
  /** What it is. */
  kind?: DeviceKind;
  /** The clinic that it belongs to. */
  home_clinic_id?: string;
  /** The staff id of whom to telephone when it is silent; absent means the clinic. */
  custodian_id?: string;
  /** The public half of its P-256 key, uncompressed: 04, X, Y. It signs pages; it never changes. */
  public_key?: string;
  /** Who made the code that it was enrolled with, and when it was used. */
  enrolled?: Act;
  /** The replicas that it has been, oldest first by their beginning. */
  replicas?: DeviceReplica[];
  /** That it may no longer exchange, and why; absent while it may. */
  revoked?: Void;
  /** Remarks. */
  notes?: Note[];
  /** Why conflicts were settled as they were. */
  settlements?: Settlement[];
}

/** DeviceReplica is one incarnation of a device. The element's id is the replica's id. */
export interface DeviceReplica {
  /** The element's id: a random UUID as text in lower case, made with it and never changed. The engine fills it. */
  id?: string;
  /** Why it began and after what. */
  began?: ReplicaBeginning;
}

/** ReplicaBeginning is how an incarnation began. */
export interface ReplicaBeginning {
  /** Why. */
  cause?: ReplicaCause;
  /** The replica before it; absent for the first. */
  predecessor_id?: string;
  /** The last counter of the predecessor that both sides hold; 0 for none. */
  common_counter?: string;
  /** When, by the server's clock. */
  at?: string;
}

/** DeviceKind is what a device is. */
export type DeviceKind =
  /** Not stated; rejected on write. */
  | "DEVICE_KIND_UNSPECIFIED"
  /** A tablet or computer with the client. */
  | "DEVICE_KIND_TABLET"
  /** A replica without a screen, for scripts and tests. */
  | "DEVICE_KIND_COMMAND_LINE";

/** ReplicaCause is why a device got a new replica. */
export type ReplicaCause =
  /** Not stated; rejected on write. */
  | "REPLICA_CAUSE_UNSPECIFIED"
  /** It was enrolled. */
  | "REPLICA_CAUSE_ENROLLED"
  /** Its chain of edits was found to differ from the server's: it was cloned, or restored from a copy. */
  | "REPLICA_CAUSE_FORKED"
  /** The server wanted edits that it no longer held. */
  | "REPLICA_CAUSE_COUNTER_LOST";

/** Role is what a member of staff may do; the table of rights joins it to the actions of the RPCs. */
export type Role =
  /** Not stated; rejected on write. */
  | "ROLE_UNSPECIFIED"
  /** Treats patients, within the regions of her credentials. */
  | "ROLE_INJECTOR"
  /** Answers for the medicine of a clinic: policies, formulary, held edits, holds that others may not lift. */
  | "ROLE_MEDICAL_LEAD"
  /** Prepares, photographs and records under an injector. */
  | "ROLE_ASSISTANT"
  /** Books, and keeps who patients are and how they are reached. */
  | "ROLE_FRONT_DESK"
  /** Reads the audit log and whole records, and changes nothing. */
  | "ROLE_AUDITOR"
  /** Manages staff, devices and clinics, and reads no chart. */
  | "ROLE_ADMINISTRATOR";

/** Contact is how a person or a clinic is reached. An empty field is a way that is not known. */
export interface Contact {
  /** The telephone number as it is dialled from abroad, beginning with +, or as it was given. */
  phone?: string;
  /** The mail address. */
  email?: string;
  /** Street, house and further lines, separated by line feeds. */
  street?: string;
  /** The postal code. */
  postal_code?: string;
  /** The city or island. */
  city?: string;
  /** The country, two capital letters of ISO 3166-1; empty when it is not known. */
  country?: string;
}

/** Date is a day of the civil calendar, without a time or a zone. The day must exist in its month. */
export interface Date {
  /** The year of the Gregorian calendar. */
  year?: number;
  /** The month, 1 for January. */
  month?: number;
  /** The day of the month. */
  day?: number;
}

/** ApproximateDate is a day as somebody remembers it: the year, and as much of the rest as is known. */
export interface ApproximateDate {
  /** The year of the Gregorian calendar. */
  year?: number;
  /** The month, 1 for January; absent when it is not known. */
  month?: number;
  /** The day of the month; absent when it is not known or the month is not. */
  day?: number;
}

/** PersonName is a person's name as it is written, in any script. Its parts agree, so they are one register. */
export interface PersonName {
  /** The whole name as the person writes it, in the order that the person uses. */
  full?: string;
  /** The part that lists sort by; empty when the name has no such part. */
  family?: string;
  /** The part or parts other than the family name; empty when there are none. */
  given?: string;
  /** What the person likes to be called; empty when nothing else than the full name. */
  preferred?: string;
  /** A name borne before, for search; empty when none is known. */
  former?: string;
}

/** Staff is a person who works for the organisation. Passwords are not in it; they never leave the server. */
export interface Staff {
  /** The record's id: a random UUID as text in lower case, made with it and never changed. The engine fills it. */
  id?: string;
  /** The person's name, as it stands on documents. */
  name?: PersonName;
  /** The name that the person signs in with: unique in the organisation, lower case. Set when the invitation is claimed; absent before. */
  sign_in_name?: string;
  /** How colleagues reach the person. */
  contact?: Contact;
  /** The profession in the words of the country, such as nurse or physician. */
  profession?: string;
  /** The entry in the register of the profession; absent when there is none. */
  registration?: Registration;
  /** That the person may prescribe, and by what right; absent means may not. */
  prescribes?: Prescribing;
  /** Where the person works and as what. Without one that is current the person may do nothing. */
  positions?: Position[];
  /** The regions of the face that the person may treat; outside them is a hold. */
  credentials?: Credential[];
  /** That the person may not sign in at present, and why; absent means may. */
  suspended?: Suspension;
  /** Remarks. */
  notes?: Note[];
  /** Why conflicts were settled as they were. */
  settlements?: Settlement[];
}

/** Registration is an entry in a profession's register. */
export interface Registration {
  /** The body that keeps the register. */
  body?: string;
  /** The number or name of the entry. */
  number?: string;
  /** The last day on which it holds; absent when it does not end. */
  expires_on?: Date;
}

/** Prescribing is a right to prescribe. */
export interface Prescribing {
  /** By what right: a licence or its number, in the words of the country. */
  basis?: string;
  /** The last day on which it holds; absent when it does not end. */
  expires_on?: Date;
}

/** Position is a person's work at one clinic. */
export interface Position {
  /** The element's id: a random UUID as text in lower case, made with it and never changed. The engine fills it. */
  id?: string;
  /** The clinic with the roles held there. */
  assignment?: Assignment;
  /** That the position ended, and why; absent while it goes on. */
  ended?: Void;
}

/** Assignment is roles at a clinic. */
export interface Assignment {
  /** The clinic; absent for a role in the whole organisation. */
  clinic_id?: string;
  /** The roles, each once. */
  roles?: Role[];
  /** Who gave them and when. */
  granted?: Act;
  /** The last day on which they hold, for a locum or an inspector; absent when they do not end. */
  until?: Date;
}

/** Credential is that a person may treat a region of the face. */
export interface Credential {
  /** The element's id: a random UUID as text in lower case, made with it and never changed. The engine fills it. */
  id?: string;
  /** The region, how freely, and who says so. */
  grant?: CredentialGrant;
  /** That it was taken back, and why; absent while it holds. */
  revoked?: Void;
}

/** CredentialGrant is a credential as it was given. */
export interface CredentialGrant {
  /** The region as the anatomy names it, such as lower_face. */
  region?: string;
  /** How freely. */
  kind?: CredentialKind;
  /** The staff id of the supervisor, when the kind is supervised; absent when any credentialled colleague will do. */
  supervisor_id?: string;
  /** What it rests on: a course, cases seen, an examination. */
  evidence?: string;
  /** Who gave it and when. */
  granted?: Act;
  /** The last day on which it holds; absent when it does not end. */
  expires_on?: Date;
}

/** Suspension is that a person may not sign in. */
export interface Suspension {
  /** Why. */
  reason?: string;
  /** Who said so and when. */
  imposed?: Act;
}

/** CredentialKind says how freely a person treats a region. */
export type CredentialKind =
  /** Not stated; rejected on write. */
  | "CREDENTIAL_KIND_UNSPECIFIED"
  /** Without supervision. */
  | "CREDENTIAL_KIND_INDEPENDENT"
  /** Only with a supervisor who countersigns. */
  | "CREDENTIAL_KIND_SUPERVISED";

/** Reason is stable: clients branch on it. In an error it is the `reason` of a google.rpc.ErrorInfo without the prefix REASON_. */
export type Reason =
  /** Never sent. */
  | "REASON_UNSPECIFIED"
  /** A field of the request is outside what its schema allows. */
  | "REASON_INVALID_FIELD"
  /** Nothing is there under this id, or it belongs to someone who is not shared with the caller. */
  | "REASON_NOT_FOUND"
  /** No access token, or one that is expired, altered or meant for something else. */
  | "REASON_UNAUTHENTICATED"
  /** The caller's role does not allow this action. */
  | "REASON_NOT_ALLOWED"
  /** The device was revoked; what it holds unsent may still come in sealed. */
  | "REASON_DEVICE_REVOKED"
  /** The replica of the page does not belong to the device that sent it. */
  | "REASON_ACTOR_NOT_YOURS"
  /** The page does not continue where the server stands; the detail names the counter wanted. */
  | "REASON_RESUME_FROM"
  /** The same dot was used for two different edits: a cloned or restored tablet. */
  | "REASON_DOT_COLLISION"
  /** The signature of the page does not verify. */
  | "REASON_BAD_SIGNATURE"
  /** The cursor is from before the server was restored; pull anew and offer again what the server lacks. */
  | "REASON_EPOCH_CHANGED"
  /** The cursor was altered or belongs to another device. */
  | "REASON_BAD_CURSOR"
  /** The edit's context names edits that this server never saw; it waits for them. */
  | "REASON_UNKNOWN_CONTEXT"
  /** The same edit id came before with another content. */
  | "REASON_ID_REUSED"
  /** The same edit came before; nothing was done again. */
  | "REASON_ALREADY_APPLIED"
  /** The edit writes a field, kind or value that this version does not know yet; it is kept until it does. */
  | "REASON_SCHEMA_TOO_NEW"
  /** The edit's bytes are not in the one form that an edit has. */
  | "REASON_NOT_CANONICAL"
  /** The edit's author may not make this change. */
  | "REASON_AUTHOR_NOT_ALLOWED"
  /** The edit writes a field that only the server sets. */
  | "REASON_OUTPUT_ONLY"
  /** The signature was made over values that differ from what the server folds at that vector. */
  | "REASON_SIGNED_VALUES_DIFFER"
  /** A field would have more concurrent values than a person can settle. */
  | "REASON_TOO_MANY_SIBLINGS"
  /** The record would be larger than a record may be. */
  | "REASON_RECORD_FULL"
  /** The edit writes into an element that only a held edit created; it is held with it. */
  | "REASON_ELEMENT_HELD"
  /** The request, page or field is larger than its limit. */
  | "REASON_TOO_LARGE"
  /** Too many calls; the detail says when to try again. */
  | "REASON_RATE_LIMITED"
  /** The server's disk is full or read-only; reading goes on. */
  | "REASON_DISK_FULL"
  /** The server is stopping or its store failed; nothing was acknowledged. */
  | "REASON_UNAVAILABLE"
  /** Something went wrong inside the server; the log has the request id. */
  | "REASON_INTERNAL"
  /** The record's fields hold concurrent values that must be settled first. */
  | "REASON_UNSETTLED_CONFLICT"
  /** The values that the caller read have changed since; read again. */
  | "REASON_STALE_READ"
  /** The one-time code is wrong, used or expired. */
  | "REASON_BAD_CODE"
  /** The name or the password is wrong. */
  | "REASON_BAD_PASSWORD"
  /** A stored value fails its own check; writing stopped. */
  | "REASON_DATA_LOSS"
  /** The client is too old for this call; what it holds can still be handed in. */
  | "REASON_CLIENT_TOO_OLD"
  /** A quantity is not a decimal in the stated form and range. */
  | "REASON_BAD_QUANTITY"
  /** The product is not one that the formulary knows by this name. */
  | "REASON_UNKNOWN_PRODUCT"
  /** What was asked cannot be reckoned from what was given. */
  | "REASON_CANNOT_RECKON"
  /** A person gave the edit up after it was held. */
  | "REASON_GIVEN_UP"
  /** The server does not answer this call yet. */
  | "REASON_UNIMPLEMENTED"
  /** The edit came in sealed, outside an exchange of its device; a person judges it. */
  | "REASON_HANDED_IN_SEALED";

/** Tokens are what a sign-in gives. */
export interface Tokens {
  /** The access token, a JWT, sent as a bearer token with every call. */
  access_token?: string;
  /** When the access token ends, by the server's clock. */
  access_expires_at?: string;
  /** The refresh token: opaque, works once. */
  refresh_token?: string;
  /** When the refresh token ends, by the server's clock. */
  refresh_expires_at?: string;
}

/** SignInRequest is a name and a password. */
export interface SignInRequest {
  /** The name to sign in with; compared in lower case. */
  sign_in_name?: string;
  /** The password. */
  password?: string;
  /** The device signed in from; absent for a client of the API. */
  device_id?: string;
  /** The client's id of this request, which the proof covers; required with a device. */
  request_id?: string;
  /**
   * The device's signature (r and s, 32 bytes each) over the sign-in's statement (docs/protocol.md); required with a device, whose name anyone
   * may know.
   */
  proof?: string;
}

/** SignInResponse is a sign-in. */
export interface SignInResponse {
  /** The tokens. */
  tokens?: Tokens;
  /** The person who signed in. */
  staff?: Staff;
}

/** RefreshRequest trades a refresh token. */
export interface RefreshRequest {
  /** The refresh token as it was given. */
  refresh_token?: string;
  /** The client's id of this request: the same id again gets the same answer, so that a lost answer signs nobody out. */
  request_id?: string;
  /** The device's signature (r and s, 32 bytes each) over the refresh's statement (docs/protocol.md); required when the sign-in is bound to a device. */
  proof?: string;
}

/** RefreshResponse is the new tokens. */
export interface RefreshResponse {
  /** The tokens; the one traded is used up. */
  tokens?: Tokens;
  /** The person, with the roles as they are now. */
  staff?: Staff;
}

/** ClaimInvitationRequest uses a one-time link. */
export interface ClaimInvitationRequest {
  /** The client's id of this request: the same id with the same content has the effect of one call. */
  request_id?: string;
  /** The last part of the link. */
  token?: string;
  /** The person's name; absent when it is right as it stands. */
  name?: PersonName;
  /** The name to sign in with from now on; unique in the organisation. */
  sign_in_name?: string;
  /** The password, of at least 15 characters; the server refuses common ones. */
  password?: string;
}

/** ClaimInvitationResponse is a first sign-in. */
export interface ClaimInvitationResponse {
  /** The tokens. */
  tokens?: Tokens;
  /** The person who came in. */
  staff?: Staff;
}

/** EnrolDeviceRequest makes a device known. */
export interface EnrolDeviceRequest {
  /** The client's id of this request: the same id with the same content has the effect of one call. */
  request_id?: string;
  /** The one-time code, as read from the screen or the square code. */
  code?: string;
  /** The name that people will know the device by. */
  label?: string;
  /** What the device is. */
  kind?: DeviceKind;
  /** The public half of its P-256 key, uncompressed: 04, X, Y. */
  public_key?: string;
  /** The first replica of the device. */
  replica_id?: string;
  /** ECDSA P-256 over SHA-256 of the enrolment statement (docs/protocol.md), r and s as 32 bytes each: the device holds the private half. */
  proof?: string;
}

/** EnrolDeviceResponse is what a device must know of its server. */
export interface EnrolDeviceResponse {
  /** The device as enrolled. */
  device?: Device;
  /** The organisation, a UUID. */
  organisation_id?: string;
  /** Its name. */
  organisation_name?: string;
  /** The server's epoch, 16 bytes. */
  epoch?: string;
  /** The public key that unsent edits are sealed to, so that losing the device's own key never loses the work. */
  sealing_key?: string;
  /** The fingerprint of the device's key, to compare by eye with what the administrator sees. */
  key_fingerprint?: string;
}

/** CreateEnrolmentCodeRequest asks for a code. */
export interface CreateEnrolmentCodeRequest {
  /** The client's id of this request: the same id with the same content has the effect of one call. */
  request_id?: string;
  /** The clinic that the device will belong to. */
  clinic_id?: string;
  /** What the device is. */
  kind?: DeviceKind;
}

/** CreateEnrolmentCodeResponse is a code, shown once. */
export interface CreateEnrolmentCodeResponse {
  /** The code: at least 64 random bits, for one use. */
  code?: string;
  /** The address that a square code shows; it holds the code and no patient data. */
  url?: string;
  /** When it ends, by the server's clock. */
  expires_at?: string;
}

/** ListDevicesRequest asks for devices. */
export interface ListDevicesRequest {
  /** Only devices of this clinic; absent for all. */
  clinic_id?: string;
  /** Also those that were revoked. */
  include_revoked?: boolean;
  /** The most to answer; 0 means 100. */
  page_size?: number;
  /** The next_page_token of the answer before; empty for the first page. */
  page_token?: string;
}

/** DeviceStatus is how a device stands with the server. */
export interface DeviceStatus {
  /** The device. */
  device?: Device;
  /** When it last exchanged, by the server's clock; absent when never. */
  last_exchange_at?: string;
  /** The counter of its newest edit on the server's disk. */
  acknowledged_counter?: string;
  /** How many edits it said that it held unsent at its last exchange. */
  unsent_edits?: string;
  /** How many of its edits are held. */
  held_edits?: number;
  /** The version of the client that it last spoke as. */
  client_version?: string;
  /** How far its clock was ahead of the server's at its last exchange, in milliseconds. */
  clock_offset_ms?: string;
  /** How many patients' whole records it held when it last exchanged. */
  booked_patients?: number;
  /** When the oldest edit was made that it held unsent at its last exchange, by its own clock; absent when it held none. */
  oldest_unsent_at?: string;
  /** True when it holds the whole records of every patient; else booked_patients says of how many. */
  holds_all_patients?: boolean;
  /** How many sealed edits of it were handed in that could not be opened, or do not follow what is here. */
  kept_sealed?: number;
  /** The first hundred of these. */
  kept_sealed_edits?: KeptSealed[];
}

/** KeptSealed is a sealed edit that was handed in and is kept as it came. */
export interface KeptSealed {
  /** The replica that made it. */
  replica_id?: string;
  /** Its counter. */
  counter?: string;
  /** Why it is not in the ledger. */
  reason?: Reason;
  /** When it was handed in first, by the server's clock. */
  received_at?: string;
  /** The staff id of whoever handed it in; empty when the device itself did. */
  handed_in_by?: string;
  /** The size of what is kept, in bytes. */
  size?: number;
}

/** ListDevicesResponse is a page of devices. */
export interface ListDevicesResponse {
  /** The devices, by label. */
  devices?: DeviceStatus[];
  /** Asks for the next page; empty means no more pages. */
  next_page_token?: string;
}

/** RevokeDeviceRequest revokes a device. */
export interface RevokeDeviceRequest {
  /** The client's id of this request: the same id with the same content has the effect of one call. */
  request_id?: string;
  /** The device. */
  device_id?: string;
  /** Why: lost, stolen, replaced. */
  reason?: string;
}

/** RevokeDeviceResponse is the device as revoked. */
export interface RevokeDeviceResponse {
  /** The device, what it held and when it last exchanged. */
  status?: DeviceStatus;
}

/** AddStaffRequest adds a person. */
export interface AddStaffRequest {
  /** The client's id of this request: the same id with the same content has the effect of one call. */
  request_id?: string;
  /** The person's name. */
  name?: PersonName;
  /** How the person is reached. */
  contact?: Contact;
  /** The roles to begin with. */
  assignments?: RoleAssignment[];
}

/** RoleAssignment is roles at a clinic, as asked for. */
export interface RoleAssignment {
  /** The clinic; absent for the whole organisation. */
  clinic_id?: string;
  /** The roles, each once; empty takes away all that the person has there. */
  roles?: Role[];
  /** The last day on which they hold; absent when they do not end. */
  until?: Date;
}

/** AddStaffResponse is the person and the way in. */
export interface AddStaffResponse {
  /** The person. */
  staff?: Staff;
  /** The one-time link, shown once. */
  invitation_url?: string;
  /** When the link ends, by the server's clock. */
  invitation_expires_at?: string;
}

/** ListStaffRequest asks for staff. */
export interface ListStaffRequest {
  /** Only those with a position at this clinic; absent for all. */
  clinic_id?: string;
  /** Also those who may not sign in. */
  include_suspended?: boolean;
  /** The most to answer; 0 means 100. */
  page_size?: number;
  /** The next_page_token of the answer before; empty for the first page. */
  page_token?: string;
}

/** ListStaffResponse is a page of staff. */
export interface ListStaffResponse {
  /** The staff, by name. */
  staff?: Staff[];
  /** Asks for the next page; empty means no more pages. */
  next_page_token?: string;
}

/** SetStaffRolesRequest changes what a person may do. */
export interface SetStaffRolesRequest {
  /** The client's id of this request: the same id with the same content has the effect of one call. */
  request_id?: string;
  /** The person. */
  staff_id?: string;
  /** For each clinic named, the roles that the person has from now on; clinics not named stay as they are. */
  assignments?: RoleAssignment[];
  /** Credentials to add. */
  grant_credentials?: CredentialRequest[];
  /** Credentials to take back. */
  revoke_credential_ids?: string[];
  /** True ends every sign-in of the person, false lets the person in again; absent leaves it. */
  suspended?: boolean;
  /** Why; it is kept with the change. */
  reason?: string;
  /** The context of the record that the caller read. */
  context?: string;
}

/** CredentialRequest is a credential to give. */
export interface CredentialRequest {
  /** The region as the anatomy names it. */
  region?: string;
  /** How freely. */
  kind?: CredentialKind;
  /** The staff id of the supervisor; absent when any credentialled colleague will do. */
  supervisor_id?: string;
  /** What it rests on. */
  evidence?: string;
  /** The last day on which it holds; absent when it does not end. */
  expires_on?: Date;
}

/** SetStaffRolesResponse is the person as changed. */
export interface SetStaffRolesResponse {
  /** The person. */
  staff?: Staff;
  /** The context for a next change; opaque. */
  context?: string;
}

/** BreakGlassRequest opens a record. */
export interface BreakGlassRequest {
  /** The client's id of this request: the same id with the same content has the effect of one call. */
  request_id?: string;
  /** The patient whose records are to be opened. */
  patient_id?: string;
  /** Why; the medical lead reads it. */
  reason?: string;
}

/** BreakGlassResponse says for how long. */
export interface BreakGlassResponse {
  /** When the access ends, by the server's clock. */
  expires_at?: string;
  /** The entry of the audit log that keeps the reason. */
  audit_entry_id?: string;
}

/** ListAuditRequest asks for entries of the audit log. Conditions are joined by and. */
export interface ListAuditRequest {
  /** Only what touched this patient; absent for all. */
  patient_id?: string;
  /** Only what this person did; absent for all. */
  staff_id?: string;
  /** Only what came from this device; absent for all. */
  device_id?: string;
  /** Only entries at or after this time by the server's clock; absent for all. */
  from?: string;
  /** Only entries before this time by the server's clock; absent for all. */
  until?: string;
  /** The most to answer; 0 means 100. */
  page_size?: number;
  /** The next_page_token of the answer before; empty for the first page. */
  page_token?: string;
}

/** AuditEntry is one act, in the hash chain of the audit log. */
export interface AuditEntry {
  /** Its place in the log, from 1 without gaps. */
  sequence?: string;
  /** When, by the server's clock. */
  at?: string;
  /** Who; empty when nobody was signed in. */
  staff_id?: string;
  /** From which device; empty for a client of the API. */
  device_id?: string;
  /** The role by which it was allowed; unspecified when it was refused. */
  role?: Role;
  /** The RPC, as package.Service/Method. */
  procedure?: string;
  /** The kind of the record touched; unspecified when none was. */
  kind?: RecordKind;
  /** The record touched; empty when none was. */
  record_id?: string;
  /** The patient concerned; empty when none is. */
  patient_id?: string;
  /** How it ended. */
  outcome?: AuditOutcome;
  /** Why it was refused or held; unspecified when it was done. */
  reason?: Reason;
  /** The reason that a person gave, for break-glass and the like. */
  remark?: string;
  /** The chain hash before this entry, 32 bytes. */
  previous_hash?: string;
  /** The chain hash after it, 32 bytes. */
  hash?: string;
  /**
   * How the person stood to the record: their own clinic's, another clinic's of the organisation, or opened with a reason; empty when no record was
   * touched.
   */
  relation?: string;
  /** The clinic concerned; empty when none is. */
  clinic_id?: string;
  /** The id of the request, which the server's log has too. */
  request_id?: string;
}

/** ListAuditResponse is a page of the audit log. */
export interface ListAuditResponse {
  /** The entries, newest first. */
  entries?: AuditEntry[];
  /** Asks for the next page; empty means no more pages. */
  next_page_token?: string;
}

/** AuditOutcome is how an act that was asked for ended. */
export type AuditOutcome =
  /** Not stated; rejected on write. */
  | "AUDIT_OUTCOME_UNSPECIFIED"
  /** It was done. */
  | "AUDIT_OUTCOME_DONE"
  /** It was refused; the reason is given. */
  | "AUDIT_OUTCOME_REFUSED"
  /** It was held for a person to judge. */
  | "AUDIT_OUTCOME_HELD";

/** Dose is an amount of one product. Amount and product agree, so they are one register; units of two products are never added. */
export interface Dose {
  /** The product by its nonproprietary name. */
  product?: string;
  /** The amount, in thousandths of a unit of that product. */
  dose_milliunits?: number;
}

/** Side is a side of the patient's face, as the patient's own: the patient's right is on the left of a picture. */
export type Side =
  /** Not stated; rejected on write. */
  | "SIDE_UNSPECIFIED"
  /** The patient's own right. */
  | "SIDE_RIGHT"
  /** The patient's own left. */
  | "SIDE_LEFT"
  /** On the midline. */
  | "SIDE_MIDLINE";

/** AdverseEvent is something unwanted after a treatment, followed until its end. */
export interface AdverseEvent {
  /** The record's id: a random UUID as text in lower case, made with it and never changed. The engine fills it. */
  id?: string;
  /** The patient. */
  patient_id?: string;
  /** The session that it is thought to come of; absent when none. */
  session_id?: string;
  /** The clinic that follows it. */
  clinic_id?: string;
  /** What it is, since when and where. */
  event?: EventDescription;
  /** How severe it is. */
  severity?: SeverityJudgement;
  /** How far the treatment is thought to be the cause. */
  relation?: RelationJudgement;
  /** What makes it serious, as reports ask; absent means not judged yet. */
  seriousness?: SeriousnessList;
  /** The products suspected, with lot and expiry. */
  suspected?: SuspectedProduct[];
  /** What was done. */
  actions?: EventAction[];
  /** How it went on. */
  follow_ups?: EventFollowUp[];
  /** How it ended; absent while it goes on. */
  outcome?: EventOutcome;
  /** Reports to authorities and makers. */
  reports?: AuthorityReport[];
  /** That it was not so, and why; absent while it counts. */
  void?: Void;
  /** Remarks. */
  notes?: Note[];
  /** Why conflicts were settled as they were. */
  settlements?: Settlement[];
}

/** EventDescription is what happened. */
export interface EventDescription {
  /** What, such as eyelid_ptosis, smile_asymmetry, dysphagia or headache. */
  kind?: string;
  /** In words. */
  text?: string;
  /** The regions concerned. */
  regions?: string[];
  /** The side, the patient's own; absent when both or none. */
  side?: Side;
  /** When it began; absent when it is not known. */
  onset?: ApproximateDate;
  /** The moment it began, when that is known better than the day; absent otherwise. */
  onset_at?: string;
  /** Who recorded it and when. */
  reported?: Act;
}

/** SeverityJudgement is a judgement of severity. */
export interface SeverityJudgement {
  /** How severe. */
  severity?: Severity;
  /** Who judged and when. */
  judged?: Act;
}

/** RelationJudgement is a judgement of cause. */
export interface RelationJudgement {
  /** How far. */
  relation?: Relation;
  /** Who judged and when. */
  judged?: Act;
}

/** SeriousnessList is a judgement of seriousness. */
export interface SeriousnessList {
  /** What makes it serious, each once; empty says that it is not serious. */
  reasons?: Seriousness[];
  /** Who judged and when. */
  judged?: Act;
}

/** SuspectedProduct is a product that is suspected. */
export interface SuspectedProduct {
  /** The element's id: a random UUID as text in lower case, made with it and never changed. The engine fills it. */
  id?: string;
  /** Product, lot, expiry and dose, which agree. */
  exposure?: SuspectedExposure;
  /** That it is not suspected, and why; absent while it is. */
  void?: Void;
}

/** SuspectedExposure is what the patient had of a suspected product. */
export interface SuspectedExposure {
  /** The product with the dose. */
  dose?: Dose;
  /** The vial; absent when it is not known. */
  vial_id?: string;
  /** The batch number; empty when it is not known. */
  lot_number?: string;
  /** The expiry; absent when it is not known. */
  expires_on?: Date;
  /** When it was given; absent when it is not known. */
  given_on?: ApproximateDate;
}

/** EventAction is something done about an event. */
export interface EventAction {
  /** The element's id: a random UUID as text in lower case, made with it and never changed. The engine fills it. */
  id?: string;
  /** What. */
  action?: ActionText;
}

/** ActionText is what was done. */
export interface ActionText {
  /** What, such as advice, drug, referral or emergency. */
  kind?: string;
  /** In words. */
  text?: string;
  /** Who did it and when. */
  done?: Act;
}

/** EventFollowUp is how an event went on. */
export interface EventFollowUp {
  /** The element's id: a random UUID as text in lower case, made with it and never changed. The engine fills it. */
  id?: string;
  /** What was seen. */
  state?: FollowUpText;
}

/** FollowUpText is what was seen or heard at a follow-up. */
export interface FollowUpText {
  /** In words. */
  text?: string;
  /** How severe it was then; absent when it was not judged. */
  severity?: Severity;
  /** Who saw or heard it and when. */
  seen?: Act;
}

/** EventOutcome is how an event ended. */
export interface EventOutcome {
  /** How. */
  end?: EventEnd;
  /** When; absent when it is not known. */
  on?: ApproximateDate;
  /** Who judged and when. */
  judged?: Act;
}

/** AuthorityReport is a report to an authority or a maker. */
export interface AuthorityReport {
  /** The element's id: a random UUID as text in lower case, made with it and never changed. The engine fills it. */
  id?: string;
  /** To whom and when. */
  sent?: ReportSent;
}

/** ReportSent is a report as it was sent. */
export interface ReportSent {
  /** To whom. */
  recipient?: string;
  /** The number that they gave; empty when none. */
  reference?: string;
  /** SHA-256 of the sheet as it was sent. */
  sheet_digest?: string;
  /** Who sent it and when. */
  sent?: Act;
}

/** Severity is how severe an event is. */
export type Severity =
  /** Not stated; rejected on write. */
  | "SEVERITY_UNSPECIFIED"
  /** Noticed, and nothing is prevented by it. */
  | "SEVERITY_MILD"
  /** It prevents some of what the patient does. */
  | "SEVERITY_MODERATE"
  /** It prevents most of what the patient does. */
  | "SEVERITY_SEVERE";

/** Relation is how far a treatment is thought to be the cause. */
export type Relation =
  /** Not stated; rejected on write. */
  | "RELATION_UNSPECIFIED"
  /** Not the cause. */
  | "RELATION_UNRELATED"
  /** Unlikely. */
  | "RELATION_UNLIKELY"
  /** Possible. */
  | "RELATION_POSSIBLE"
  /** Probable. */
  | "RELATION_PROBABLE"
  /** Certain. */
  | "RELATION_CERTAIN"
  /** It cannot be judged. */
  | "RELATION_NOT_ASSESSABLE";

/** Seriousness is what makes an event serious. */
export type Seriousness =
  /** Not stated; rejected on write. */
  | "SERIOUSNESS_UNSPECIFIED"
  /** Death. */
  | "SERIOUSNESS_DEATH"
  /** A danger to life. */
  | "SERIOUSNESS_LIFE_THREATENING"
  /** A stay in hospital, or a longer one. */
  | "SERIOUSNESS_HOSPITALISATION"
  /** Disability or lasting damage. */
  | "SERIOUSNESS_DISABILITY"
  /** A congenital anomaly. */
  | "SERIOUSNESS_CONGENITAL_ANOMALY"
  /** It needed treatment to prevent lasting damage. */
  | "SERIOUSNESS_INTERVENTION"
  /** Serious for another medical reason. */
  | "SERIOUSNESS_OTHER";

/** EventEnd is how an event ended. */
export type EventEnd =
  /** Not stated; rejected on write. */
  | "EVENT_END_UNSPECIFIED"
  /** It is gone. */
  | "EVENT_END_RECOVERED"
  /** It goes back. */
  | "EVENT_END_RECOVERING"
  /** It goes on. */
  | "EVENT_END_NOT_RECOVERED"
  /** It is gone and left something behind. */
  | "EVENT_END_SEQUELAE"
  /** The patient died of it. */
  | "EVENT_END_FATAL"
  /** It is not known. */
  | "EVENT_END_UNKNOWN";

/** Appointment is a booked time. What is booked decides which patients' whole records a tablet holds. */
export interface Appointment {
  /** The record's id: a random UUID as text in lower case, made with it and never changed. The engine fills it. */
  id?: string;
  /** The clinic. */
  clinic_id?: string;
  /** The patient; absent for a time that is kept free or a patient who is not known yet. */
  patient_id?: string;
  /** The name as it stood in the calendar, when no patient is matched yet. */
  booked_name?: string;
  /** Whom it is with; absent means any injector of the clinic. */
  staff_id?: string;
  /** When. */
  slot?: Slot;
  /** What for, such as consultation, treatment or review. */
  purpose?: string;
  /** What is asked for; absent when not asked. */
  regions?: RegionList;
  /** The session that a review looks back on; absent otherwise. */
  parent_session_id?: string;
  /** The room or the address of a visit outside; absent means the clinic. */
  room?: string;
  /** What became of it: arrived, did not come, done. */
  moves?: AppointmentMove[];
  /** That it does not take place, and why; absent while it does. */
  cancelled?: Void;
  /** The calendar entry that it came from; absent when it was made by hand. */
  imported?: CalendarEntry;
  /** Remarks. */
  notes?: Note[];
  /** Why conflicts were settled as they were. */
  settlements?: Settlement[];
}

/** Slot is a time in the calendar. */
export interface Slot {
  /** When it begins. */
  begins_at?: string;
  /** How long it lasts, in minutes. */
  minutes?: number;
  /** The zone that it was booked in, a name of the time zone database such as Europe/Athens. */
  time_zone?: string;
}

/** RegionList is regions of the face. */
export interface RegionList {
  /** The regions as the anatomy names them, each once. */
  regions?: string[];
}

/** AppointmentMove is one step of an appointment. */
export interface AppointmentMove {
  /** The element's id: a random UUID as text in lower case, made with it and never changed. The engine fills it. */
  id?: string;
  /** The step, by whom and when. */
  step?: AppointmentStep;
}

/** AppointmentStep is the state an appointment came into. */
export interface AppointmentStep {
  /** The state. */
  state?: AppointmentState;
  /** The session that came of it; absent while there is none. */
  session_id?: string;
  /** Who said so and when. */
  moved?: Act;
}

/** CalendarEntry is an entry of an iCalendar file (RFC 5545). */
export interface CalendarEntry {
  /** Its UID. */
  uid?: string;
  /** Its SEQUENCE: a later one of the same UID replaces it. */
  sequence?: number;
  /** Who imported it and when. */
  imported?: Act;
}

/** AppointmentState is what became of an appointment. */
export type AppointmentState =
  /** Not stated; rejected on write. */
  | "APPOINTMENT_STATE_UNSPECIFIED"
  /** The patient confirmed. */
  | "APPOINTMENT_STATE_CONFIRMED"
  /** The patient is there. */
  | "APPOINTMENT_STATE_ARRIVED"
  /** The patient did not come. */
  | "APPOINTMENT_STATE_NO_SHOW"
  /** It took place. */
  | "APPOINTMENT_STATE_DONE";

/** Provenance is where a figure comes from. */
export interface Provenance {
  /** How it was come by. */
  obtained?: Obtained;
  /** The codes of the sources; empty for common practice, memory and the lead's own figures. */
  sources?: string[];
  /** The section, table or page of the source; empty when it is not known. */
  section?: string;
  /** What a reader should know, such as that two sources disagree; empty when nothing. */
  remark?: string;
}

/**
 * Obtained says how a figure was come by, and so how far it may carry. A figure from memory or a trade page makes a note, never a hold or a
 * clearance.
 */
export type Obtained =
  /** Not stated; rejected on write. */
  | "OBTAINED_UNSPECIFIED"
  /** Read in the source itself. */
  | "OBTAINED_READ"
  /** Read in a copy or a secondary account of the source. */
  | "OBTAINED_READ_COPY"
  /** Read on a page of the trade or one of low trust. */
  | "OBTAINED_TRADE"
  /** From memory, not seen. */
  | "OBTAINED_MEMORY"
  /** A habit of the trade without a source. */
  | "OBTAINED_COMMON_PRACTICE"
  /** Reckoned from figures that were read. */
  | "OBTAINED_COMPUTED"
  /** Set by the clinic's medical lead. */
  | "OBTAINED_LEAD";

/** AfterCareEntry is an entry of an edition, which may replace or remove the entry that the edition derives from. */
export interface AfterCareEntry {
  /** The element's id: a random UUID as text in lower case, made with it and never changed. The engine fills it. */
  id?: string;
  /** The entry; absent when this only removes. */
  value?: AfterCare;
  /** That the entry is not part of this edition although the edition it derives from has it, and why; absent otherwise. */
  removed?: Void;
}

/** AfterCare is a line of the after-care sheet. */
export interface AfterCare {
  /** The name of this entry within the editions: an edition that derives from another replaces the entry of the same code. */
  code?: string;
  /** The region; absent when it holds for the whole face. */
  region?: string;
  /** The language of the text, a tag of BCP 47. */
  language?: string;
  /** The line that the patient reads. */
  text?: string;
  /** True for a sign that means emergency help: trouble breathing, swallowing or speaking. */
  emergency?: boolean;
  /** Its place on the sheet, ascending. */
  position?: number;
  /** Where it comes from and how far it may be trusted. */
  provenance?: Provenance;
}

/** Level is how strongly a guardrail speaks. */
export type Level =
  /** Not stated; rejected on write. */
  | "LEVEL_UNSPECIFIED"
  /** The act waits until someone who may lifts it; some holds nobody may lift. */
  | "LEVEL_HOLD"
  /** The act may go on; the person is told. */
  | "LEVEL_CAUTION"
  /** For information. */
  | "LEVEL_NOTE";

/** AgeLimitEntry is an entry of an edition, which may replace or remove the entry that the edition derives from. */
export interface AgeLimitEntry {
  /** The element's id: a random UUID as text in lower case, made with it and never changed. The engine fills it. */
  id?: string;
  /** The entry; absent when this only removes. */
  value?: AgeLimit;
  /** That the entry is not part of this edition although the edition it derives from has it, and why; absent otherwise. */
  removed?: Void;
}

/** AgeLimit is an age outside which treatment is held or cautioned. */
export interface AgeLimit {
  /** The name of this entry within the editions: an edition that derives from another replaces the entry of the same code. */
  code?: string;
  /** The product; absent when it holds for any. */
  product?: string;
  /** The youngest age in whole years; absent when there is none. */
  youngest_years?: number;
  /** The age in whole years that the patient must be under; absent when there is none. */
  below_years?: number;
  /** What an age outside raises. */
  level?: Level;
  /** Where it holds; empty when everywhere. */
  market?: string;
  /** Where it comes from and how far it may be trusted. */
  provenance?: Provenance;
}

/** ContraindicationEntry is an entry of an edition, which may replace or remove the entry that the edition derives from. */
export interface ContraindicationEntry {
  /** The element's id: a random UUID as text in lower case, made with it and never changed. The engine fills it. */
  id?: string;
  /** The entry; absent when this only removes. */
  value?: Contraindication;
  /** That the entry is not part of this edition although the edition it derives from has it, and why; absent otherwise. */
  removed?: Void;
}

/** Contraindication is a state of the patient that speaks against treatment, or an interaction. */
export interface Contraindication {
  /** The name of this entry within the editions: an edition that derives from another replaces the entry of the same code. */
  code?: string;
  /** The product; absent when it holds for any. */
  product?: string;
  /** The condition, drug group, allergen or state as questionnaires and alerts name it. */
  condition?: string;
  /** What it is. */
  kind?: ContraindicationKind;
  /** What it raises. */
  level?: Level;
  /** The sentence that a person reads. */
  text?: string;
  /** Where it holds; empty when everywhere. */
  market?: string;
  /** Where it comes from and how far it may be trusted. */
  provenance?: Provenance;
}

/** ContraindicationKind says what speaks against treatment. */
export type ContraindicationKind =
  /** Not stated; rejected on write. */
  | "CONTRAINDICATION_KIND_UNSPECIFIED"
  /** A disease or a state of the body. */
  | "CONTRAINDICATION_KIND_DISEASE"
  /** An allergy to the product or what is in it. */
  | "CONTRAINDICATION_KIND_ALLERGY"
  /** A drug or another toxin. */
  | "CONTRAINDICATION_KIND_INTERACTION"
  /** Pregnancy. */
  | "CONTRAINDICATION_KIND_PREGNANCY"
  /** Breast-feeding. */
  | "CONTRAINDICATION_KIND_BREAST_FEEDING"
  /** An infection or inflammation at the place. */
  | "CONTRAINDICATION_KIND_INFECTION";

/** DepthRuleEntry is an entry of an edition, which may replace or remove the entry that the edition derives from. */
export interface DepthRuleEntry {
  /** The element's id: a random UUID as text in lower case, made with it and never changed. The engine fills it. */
  id?: string;
  /** The entry; absent when this only removes. */
  value?: DepthRule;
  /** That the entry is not part of this edition although the edition it derives from has it, and why; absent otherwise. */
  removed?: Void;
}

/** DepthRule is how deep a target is injected. */
export interface DepthRule {
  /** The name of this entry within the editions: an edition that derives from another replaces the entry of the same code. */
  code?: string;
  /** The muscle or the region. */
  target?: string;
  /** The depths that are right, such as intradermal, subcutaneous, intramuscular or periosteal. */
  depths?: string[];
  /** What another depth raises. */
  level?: Level;
  /** Where it comes from and how far it may be trusted. */
  provenance?: Provenance;
}

/** DilutionEntry is an entry of an edition, which may replace or remove the entry that the edition derives from. */
export interface DilutionEntry {
  /** The element's id: a random UUID as text in lower case, made with it and never changed. The engine fills it. */
  id?: string;
  /** The entry; absent when this only removes. */
  value?: Dilution;
  /** That the entry is not part of this edition although the edition it derives from has it, and why; absent otherwise. */
  removed?: Void;
}

/** Dilution is a dilution that a label or the clinic's lead allows, with what is printed of it. */
export interface Dilution {
  /** The name of this entry within the editions: an edition that derives from another replaces the entry of the same code. */
  code?: string;
  /** The product. */
  product?: string;
  /** The content of the vial, in thousandths of a unit. */
  content_milliunits?: number;
  /** The diluent added, in nanolitres; 0 for a ready liquid. */
  diluent_nanoliters?: string;
  /** The kind of diluent, such as sodium_chloride_0_9_preservative_free, or none for a ready liquid. */
  diluent?: string;
  /** On whose word it stands. */
  standing?: DilutionStanding;
  /** What it is for, such as aesthetic or therapeutic. */
  use?: string;
  /** Where the label holds, such as US or EU; empty when everywhere. */
  market?: string;
  /** The strength as the label prints it, which may be a rounding of the exact figure; absent when nothing is printed. */
  printed?: LabelStatement;
  /** Where it comes from and how far it may be trusted. */
  provenance?: Provenance;
}

/** LabelStatement is a strength as printed: so many units in so much. It is kept as printed and never used to reckon. */
export interface LabelStatement {
  /** The units as printed, in thousandths. */
  dose_milliunits?: number;
  /** The volume as printed, in nanolitres. */
  volume_nanoliters?: string;
}

/** DilutionStanding says on whose word a dilution stands. */
export type DilutionStanding =
  /** Not stated; rejected on write. */
  | "DILUTION_STANDING_UNSPECIFIED"
  /** The product's label states it for this use. */
  | "DILUTION_STANDING_LABELLED"
  /** The clinic's medical lead adopted it. */
  | "DILUTION_STANDING_ADOPTED"
  /** A publication states it; neither the label nor the lead. */
  | "DILUTION_STANDING_PUBLISHED";

/** DoseRangeEntry is an entry of an edition, which may replace or remove the entry that the edition derives from. */
export interface DoseRangeEntry {
  /** The element's id: a random UUID as text in lower case, made with it and never changed. The engine fills it. */
  id?: string;
  /** The entry; absent when this only removes. */
  value?: DoseRange;
  /** That the entry is not part of this edition although the edition it derives from has it, and why; absent otherwise. */
  removed?: Void;
}

/** DoseRange is a labelled or published range of doses for a muscle or a region. */
export interface DoseRange {
  /** The name of this entry within the editions: an edition that derives from another replaces the entry of the same code. */
  code?: string;
  /** The product. */
  product?: string;
  /** The muscle or the region, as the anatomy names it. */
  target?: string;
  /** What the range is of: an injection, a side, a session and so on. */
  basis?: DoseBasis;
  /** The lowest usual dose, in thousandths of a unit; absent when none is published. */
  lowest_milliunits?: number;
  /** The highest usual dose, in thousandths of a unit; absent when none is published. */
  highest_milliunits?: number;
  /** The fewest injections that it is spread over; absent when that is not stated. */
  injections_at_least?: number;
  /** The most injections that it is spread over; absent when that is not stated. */
  injections_at_most?: number;
  /** True when the product's label states it; false when it is published practice. */
  labelled?: boolean;
  /** Where the label holds; empty when everywhere. */
  market?: string;
  /** Where it comes from and how far it may be trusted. */
  provenance?: Provenance;
}

/** DoseBasis says what a dose is counted over. */
export type DoseBasis =
  /** Not stated; rejected on write. */
  | "DOSE_BASIS_UNSPECIFIED"
  /** One injection. */
  | "DOSE_BASIS_INJECTION"
  /** One side of the face, all injections of the target. */
  | "DOSE_BASIS_SIDE"
  /** The target on both sides in one session. */
  | "DOSE_BASIS_TOTAL"
  /** Everything given in one session. */
  | "DOSE_BASIS_SESSION"
  /** Everything given in a window of time, for all uses. */
  | "DOSE_BASIS_WINDOW";

/** LimitEntry is an entry of an edition, which may replace or remove the entry that the edition derives from. */
export interface LimitEntry {
  /** The element's id: a random UUID as text in lower case, made with it and never changed. The engine fills it. */
  id?: string;
  /** The entry; absent when this only removes. */
  value?: Limit;
  /** That the entry is not part of this edition although the edition it derives from has it, and why; absent otherwise. */
  removed?: Void;
}

/** Limit is a ceiling: of a dose, or of a volume, that a guardrail watches. */
export interface Limit {
  /** The name of this entry within the editions: an edition that derives from another replaces the entry of the same code. */
  code?: string;
  /** The product; absent for a limit of volume, which holds for any. */
  product?: string;
  /** The muscle or the region; absent when it holds for the whole face. */
  target?: string;
  /** What is counted. */
  basis?: DoseBasis;
  /** The most, in thousandths of a unit; absent for a limit of volume or where no figure is published. */
  dose_milliunits?: number;
  /** The most in one injection, in nanolitres; absent for a limit of dose. */
  volume_nanoliters?: string;
  /** The window, when the basis is one; absent otherwise. */
  window?: Period;
  /** What passing it raises. A figure that rests on memory or a trade page is never more than a note. */
  level?: Level;
  /** Where it comes from and how far it may be trusted. */
  provenance?: Provenance;
}

/** Period is a span as a rule writes it. Days and calendar months are different rules: 84 days, 90 days and 3 months are three. */
export interface Period {
  /** Whole days; 0 when the rule is written in months. */
  days?: number;
  /** Calendar months; 0 when the rule is written in days. */
  months?: number;
}

/** IntervalRuleEntry is an entry of an edition, which may replace or remove the entry that the edition derives from. */
export interface IntervalRuleEntry {
  /** The element's id: a random UUID as text in lower case, made with it and never changed. The engine fills it. */
  id?: string;
  /** The entry; absent when this only removes. */
  value?: IntervalRule;
  /** That the entry is not part of this edition although the edition it derives from has it, and why; absent otherwise. */
  removed?: Void;
}

/** IntervalRule is the least time between two treatments. */
export interface IntervalRule {
  /** The name of this entry within the editions: an edition that derives from another replaces the entry of the same code. */
  code?: string;
  /** The product treated with; absent when it holds for any. */
  product?: string;
  /** The product had before; absent when the same or any. */
  other_product?: string;
  /** The least time from the day of the last treatment. */
  least?: Period;
  /** What a breach raises. */
  level?: Level;
  /** Where it holds; empty when everywhere. */
  market?: string;
  /** Where it comes from and how far it may be trusted. */
  provenance?: Provenance;
}

/** LiftRuleEntry is an entry of an edition, which may replace or remove the entry that the edition derives from. */
export interface LiftRuleEntry {
  /** The element's id: a random UUID as text in lower case, made with it and never changed. The engine fills it. */
  id?: string;
  /** The entry; absent when this only removes. */
  value?: LiftRule;
  /** That the entry is not part of this edition although the edition it derives from has it, and why; absent otherwise. */
  removed?: Void;
}

/** LiftRule is how strongly a guardrail speaks at a clinic, and who may lift it when it is a hold. */
export interface LiftRule {
  /** The code of the finding, as guardrails give it. */
  code?: string;
  /** The roles that may lift it; empty means nobody may, or, in a rule that sets a level, that it stays with those of the table of guardrails. */
  roles?: Role[];
  /** True when a reason must be given, which then stays for ever. */
  needs_reason?: boolean;
  /** True when only a credentialled supervisor may, at that tablet and before the first needle. */
  supervisor?: boolean;
  /**
   * The level at this clinic; absent means the table's. A note may become a caution or a hold, a caution a hold; weaker than the table only where the
   * table of guardrails allows it. A figure from memory or from a trade page stays a note whatever this says.
   */
  level?: Level;
}

/** PhotoViewEntry is an entry of an edition, which may replace or remove the entry that the edition derives from. */
export interface PhotoViewEntry {
  /** The element's id: a random UUID as text in lower case, made with it and never changed. The engine fills it. */
  id?: string;
  /** The entry; absent when this only removes. */
  value?: PhotoView;
  /** That the entry is not part of this edition although the edition it derives from has it, and why; absent otherwise. */
  removed?: Void;
}

/** PhotoView is a standard view of the face to photograph. */
export interface PhotoView {
  /** The name of this entry within the editions: an edition that derives from another replaces the entry of the same code. */
  code?: string;
  /** The region that it shows. */
  region?: string;
  /** What people call it, naming the patient's side, such as oblique from the patient's right. */
  label?: string;
  /** What the face does, such as at_rest, full_smile or lips_pursed. */
  expression?: string;
  /** True when a set without it is complete. */
  may_be_left_out?: boolean;
  /** Its place in the list, ascending. */
  position?: number;
  /** Where it comes from and how far it may be trusted. */
  provenance?: Provenance;
}

/** PresentationEntry is an entry of an edition, which may replace or remove the entry that the edition derives from. */
export interface PresentationEntry {
  /** The element's id: a random UUID as text in lower case, made with it and never changed. The engine fills it. */
  id?: string;
  /** The entry; absent when this only removes. */
  value?: Presentation;
  /** That the entry is not part of this edition although the edition it derives from has it, and why; absent otherwise. */
  removed?: Void;
}

/** Presentation is a vial size of a product. */
export interface Presentation {
  /** The name of this entry within the editions: an edition that derives from another replaces the entry of the same code. */
  code?: string;
  /** The product. */
  product?: string;
  /** What one vial holds, in thousandths of a unit of the product. */
  content_milliunits?: number;
  /** The volume of a ready liquid, in nanolitres; absent for a powder. */
  liquid_nanoliters?: string;
  /** Where it is sold, such as US or EU; empty when everywhere. */
  market?: string;
  /** The global trade item numbers of its packs, entered by the clinic; none is shipped. */
  gtins?: string[];
  /** The name on the pack, entered by the clinic; empty in the built-in edition. */
  pack_name?: string;
  /** The maker, entered by the clinic; empty in the built-in edition. */
  maker?: string;
  /** The supplier, entered by the clinic; empty in the built-in edition. */
  supplier?: string;
  /** How an unopened vial is kept, in words; empty when it is not known. */
  unopened_storage?: string;
  /** The lowest temperature for an unopened vial, in thousandths of a degree Celsius; absent when none is stated. */
  lowest_millicelsius?: number;
  /** The highest temperature for an unopened vial, in thousandths of a degree Celsius; absent when none is stated. */
  highest_millicelsius?: number;
  /** Where it comes from and how far it may be trusted. */
  provenance?: Provenance;
}

/** ProductEntry is an entry of an edition, which may replace or remove the entry that the edition derives from. */
export interface ProductEntry {
  /** The element's id: a random UUID as text in lower case, made with it and never changed. The engine fills it. */
  id?: string;
  /** The entry; absent when this only removes. */
  value?: Product;
  /** That the entry is not part of this edition although the edition it derives from has it, and why; absent otherwise. */
  removed?: Void;
}

/** Product is a botulinum toxin type A by its nonproprietary name. */
export interface Product {
  /** The nonproprietary name, such as abobotulinumtoxinA. Units of one product are not units of another. */
  name?: string;
  /** What its units are called in full, such as units or Speywood units. */
  unit_name?: string;
  /** What it holds beside the toxin and could matter for an allergy, such as human_albumin or cow_milk_protein. */
  excipients?: string[];
  /** True when it comes ready as a liquid and takes no diluent. */
  liquid?: boolean;
  /** Where it comes from and how far it may be trusted. */
  provenance?: Provenance;
}

/** RatingScaleEntry is an entry of an edition, which may replace or remove the entry that the edition derives from. */
export interface RatingScaleEntry {
  /** The element's id: a random UUID as text in lower case, made with it and never changed. The engine fills it. */
  id?: string;
  /** The entry; absent when this only removes. */
  value?: RatingScale;
  /** That the entry is not part of this edition although the edition it derives from has it, and why; absent otherwise. */
  removed?: Void;
}

/** RatingScale is a scale of severity or of response. */
export interface RatingScale {
  /** The name of this entry within the editions: an edition that derives from another replaces the entry of the same code. */
  code?: string;
  /** What people call it. */
  label?: string;
  /** The version of the scale. */
  version?: string;
  /** The regions that it rates. */
  regions?: string[];
  /** The lowest grade. */
  lowest?: number;
  /** The highest grade. */
  highest?: number;
  /** What a higher grade means. */
  higher_is?: ScaleDirection;
  /** The words of the grades, lowest first. */
  grades?: ScaleGrade[];
  /** Where it comes from and how far it may be trusted. */
  provenance?: Provenance;
}

/** ScaleGrade is a grade in words. */
export interface ScaleGrade {
  /** The grade. */
  grade?: number;
  /** Its words, such as none, mild, moderate, severe. */
  text?: string;
}

/** ScaleDirection says what a higher grade means. Published scales of one name disagree, so that it is kept with every rating. */
export type ScaleDirection =
  /** Not stated; rejected on write. */
  | "SCALE_DIRECTION_UNSPECIFIED"
  /** More severe, or a worse result. */
  | "SCALE_DIRECTION_WORSE"
  /** Less severe, or a better result. */
  | "SCALE_DIRECTION_BETTER";

/** RatioBandEntry is an entry of an edition, which may replace or remove the entry that the edition derives from. */
export interface RatioBandEntry {
  /** The element's id: a random UUID as text in lower case, made with it and never changed. The engine fills it. */
  id?: string;
  /** The entry; absent when this only removes. */
  value?: RatioBand;
  /** That the entry is not part of this edition although the edition it derives from has it, and why; absent otherwise. */
  removed?: Void;
}

/** RatioBand is a published ratio between units of two products. It is shown with its source and never used to reckon. */
export interface RatioBand {
  /** The name of this entry within the editions: an edition that derives from another replaces the entry of the same code. */
  code?: string;
  /** The product of the first number. */
  product?: string;
  /** The product of the second number. */
  other_product?: string;
  /** The lowest published ratio, in thousandths: 2500 for 2.5 to 1. */
  lowest_thousandths?: number;
  /** The highest published ratio, in thousandths. */
  highest_thousandths?: number;
  /** What was found at that ratio. */
  meaning?: string;
  /** Where it was found, such as a trial in movement disorders. */
  setting?: string;
  /** Where it comes from and how far it may be trusted. */
  provenance?: Provenance;
}

/** ReviewRuleEntry is an entry of an edition, which may replace or remove the entry that the edition derives from. */
export interface ReviewRuleEntry {
  /** The element's id: a random UUID as text in lower case, made with it and never changed. The engine fills it. */
  id?: string;
  /** The entry; absent when this only removes. */
  value?: ReviewRule;
  /** That the entry is not part of this edition although the edition it derives from has it, and why; absent otherwise. */
  removed?: Void;
}

/** ReviewRule is when a treatment is reviewed and when a change is seen. */
export interface ReviewRule {
  /** The name of this entry within the editions: an edition that derives from another replaces the entry of the same code. */
  code?: string;
  /** The region; absent when it holds for the whole face. */
  region?: string;
  /** The product; absent when it holds for any. */
  product?: string;
  /** When a first change is seen; absent when that is not stated. */
  first_change?: Period;
  /** The earliest day of the review. */
  earliest?: Period;
  /** The day after which a review is overdue. */
  latest?: Period;
  /** Where it comes from and how far it may be trusted. */
  provenance?: Provenance;
}

/** SourceEntry is an entry of an edition, which may replace or remove the entry that the edition derives from. */
export interface SourceEntry {
  /** The element's id: a random UUID as text in lower case, made with it and never changed. The engine fills it. */
  id?: string;
  /** The entry; absent when this only removes. */
  value?: Source;
  /** That the entry is not part of this edition although the edition it derives from has it, and why; absent otherwise. */
  removed?: Void;
}

/** Source is a publication that figures rest on. */
export interface Source {
  /** The name by which figures cite it, such as S03. */
  code?: string;
  /** Its title, without brand names. */
  title?: string;
  /** Who issued or published it. */
  issuer?: string;
  /** The year of issue as printed, possibly with a remark such as 2024+; empty when it is not known. */
  year?: string;
  /** Where it can be read, brand words masked; empty when it is not online. */
  address?: string;
  /** How it was obtained by those who entered it. */
  obtained?: Obtained;
}

/** SyringeEntry is an entry of an edition, which may replace or remove the entry that the edition derives from. */
export interface SyringeEntry {
  /** The element's id: a random UUID as text in lower case, made with it and never changed. The engine fills it. */
  id?: string;
  /** The entry; absent when this only removes. */
  value?: Syringe;
  /** That the entry is not part of this edition although the edition it derives from has it, and why; absent otherwise. */
  removed?: Void;
}

/** Syringe is a type of syringe that clinics stock. */
export interface Syringe {
  /** The name of this entry within the editions: an edition that derives from another replaces the entry of the same code. */
  code?: string;
  /** What people call it, without a brand, such as 1 mL by 0.01 mL. */
  label?: string;
  /** Its nominal capacity, in nanolitres. */
  capacity_nanoliters?: string;
  /** The smallest step that the clinic reads on it, in nanolitres. */
  graduation_nanoliters?: string;
  /** True when its scale counts hundredths of a millilitre as insulin units. They are volume, never units of a toxin. */
  insulin_scale?: boolean;
  /** What stays in it and its needle when the plunger is home, in nanolitres; absent when it is not known. */
  dead_space_nanoliters?: string;
  /** What the standard allows it to be off, in words; shown beside rounding, never mixed into it. */
  tolerance_text?: string;
  /** Where it comes from and how far it may be trusted. */
  provenance?: Provenance;
}

/** ToleranceEntry is an entry of an edition, which may replace or remove the entry that the edition derives from. */
export interface ToleranceEntry {
  /** The element's id: a random UUID as text in lower case, made with it and never changed. The engine fills it. */
  id?: string;
  /** The entry; absent when this only removes. */
  value?: Tolerance;
  /** That the entry is not part of this edition although the edition it derives from has it, and why; absent otherwise. */
  removed?: Void;
}

/** Tolerance is how far a delivered dose may be from its plan before it becomes a finding. */
export interface Tolerance {
  /** The name of this entry within the editions: an edition that derives from another replaces the entry of the same code. */
  code?: string;
  /** The muscle or the region; absent when it holds for the whole face. */
  target?: string;
  /** For one injection, in thousandths of the planned dose; absent when nobody set it. */
  injection_permille?: number;
  /** Between sides planned equal, in thousandths of the planned dose; absent when nobody set it. */
  side_difference_permille?: number;
  /** How many times the usual dose, or what part of it, looks like a slip of the decimal point; absent when nobody set it. */
  slip_times?: number;
  /** What passing it raises. */
  level?: Level;
  /** Where it comes from and how far it may be trusted. */
  provenance?: Provenance;
}

/** TouchUpRuleEntry is an entry of an edition, which may replace or remove the entry that the edition derives from. */
export interface TouchUpRuleEntry {
  /** The element's id: a random UUID as text in lower case, made with it and never changed. The engine fills it. */
  id?: string;
  /** The entry; absent when this only removes. */
  value?: TouchUpRule;
  /** That the entry is not part of this edition although the edition it derives from has it, and why; absent otherwise. */
  removed?: Void;
}

/** TouchUpRule is the window inside which a touch-up belongs to its parent. */
export interface TouchUpRule {
  /** The name of this entry within the editions: an edition that derives from another replaces the entry of the same code. */
  code?: string;
  /** The product; absent when it holds for any. */
  product?: string;
  /** The least time after the parent session. */
  earliest?: Period;
  /** The most time after the parent session; later it is a treatment of its own. */
  latest?: Period;
  /** What a touch-up outside the window raises. */
  level?: Level;
  /** Where it comes from and how far it may be trusted. */
  provenance?: Provenance;
}

/** UseByRuleEntry is an entry of an edition, which may replace or remove the entry that the edition derives from. */
export interface UseByRuleEntry {
  /** The element's id: a random UUID as text in lower case, made with it and never changed. The engine fills it. */
  id?: string;
  /** The entry; absent when this only removes. */
  value?: UseByRule;
  /** That the entry is not part of this edition although the edition it derives from has it, and why; absent otherwise. */
  removed?: Void;
}

/** UseByRule is how long a preparation or an opened vial may be used. */
export interface UseByRule {
  /** The name of this entry within the editions: an edition that derives from another replaces the entry of the same code. */
  code?: string;
  /** The product. */
  product?: string;
  /** How long after mixing, or after opening a ready liquid, in seconds. */
  seconds?: string;
  /** How it must be kept meanwhile, in words. */
  storage?: string;
  /** The lowest temperature, in thousandths of a degree Celsius; absent when none is stated. */
  lowest_millicelsius?: number;
  /** The highest temperature, in thousandths of a degree Celsius; absent when none is stated. */
  highest_millicelsius?: number;
  /** Where it holds, such as US or EU; empty when everywhere. */
  market?: string;
  /** Where it comes from and how far it may be trusted. */
  provenance?: Provenance;
}

/** ZoneEntry is an entry of an edition, which may replace or remove the entry that the edition derives from. */
export interface ZoneEntry {
  /** The element's id: a random UUID as text in lower case, made with it and never changed. The engine fills it. */
  id?: string;
  /** The entry; absent when this only removes. */
  value?: Zone;
  /** That the entry is not part of this edition although the edition it derives from has it, and why; absent otherwise. */
  removed?: Void;
}

/** Zone is a predicate in a face frame: how far from a landmark an injection must or should be. */
export interface Zone {
  /** The name of this entry within the editions: an edition that derives from another replaces the entry of the same code. */
  code?: string;
  /** The muscle or the region that it holds for. */
  target?: string;
  /** The face frame that it is measured in. */
  frame?: string;
  /** The landmark, line or edge of the frame that the distance is from. */
  landmark?: string;
  /** The way the distance counts, such as medial, lateral, above, below or from. */
  direction?: string;
  /** The least distance, in micrometres; absent when there is none. */
  least_micrometers?: number;
  /** The greatest distance, in micrometres; absent when there is none. */
  most_micrometers?: number;
  /** What an injection outside raises; where published zones disagree, the lead chooses which is a caution and which a note. */
  level?: Level;
  /** Where it holds; empty when everywhere. */
  market?: string;
  /** Where it comes from and how far it may be trusted. */
  provenance?: Provenance;
}

/**
 * FormularyEdition is one version of the formulary. It derives from another and holds only what differs; once published it never changes, and
 * answers name it by version and hash.
 */
export interface FormularyEdition {
  /** The record's id: a random UUID as text in lower case, made with it and never changed. The engine fills it. */
  id?: string;
  /** What people call it. */
  label?: string;
  /** Its version, unique among the organisation's editions. */
  version?: string;
  /** The edition that it derives from; absent only in the built-in one. */
  base?: EditionReference;
  /** The clinics that it is for; absent means the whole organisation. */
  clinic_ids?: EditionScope;
  /** That it was published, by whom and with which hash; absent while it is a draft. */
  published?: Publication;
  /** That it is not to be used any more, and why; absent while it may be. */
  withdrawn?: Void;
  /** The entries that are a publication that figures rest on, each once by its code or name. */
  sources?: SourceEntry[];
  /** The entries that are a botulinum toxin type A by its nonproprietary name, each once by its code or name. */
  products?: ProductEntry[];
  /** The entries that are a vial size of a product, each once by its code or name. */
  presentations?: PresentationEntry[];
  /** The entries that are a dilution that a label or the clinic's lead allows, each once by its code or name. */
  dilutions?: DilutionEntry[];
  /** The entries that are how long a preparation or an opened vial may be used, each once by its code or name. */
  use_by_rules?: UseByRuleEntry[];
  /** The entries that are a labelled or published range of doses for a muscle or a region, each once by its code or name. */
  dose_ranges?: DoseRangeEntry[];
  /** The entries that are a ceiling, each once by its code or name. */
  limits?: LimitEntry[];
  /** The entries that are the least time between two treatments, each once by its code or name. */
  interval_rules?: IntervalRuleEntry[];
  /** The entries that are the window inside which a touch-up belongs to its parent, each once by its code or name. */
  touch_up_rules?: TouchUpRuleEntry[];
  /** The entries that are a state of the patient that speaks against treatment, each once by its code or name. */
  contraindications?: ContraindicationEntry[];
  /** The entries that are an age outside which treatment is held or cautioned, each once by its code or name. */
  age_limits?: AgeLimitEntry[];
  /** The entries that are a predicate in a face frame, each once by its code or name. */
  zones?: ZoneEntry[];
  /** The entries that are how deep a target is injected, each once by its code or name. */
  depth_rules?: DepthRuleEntry[];
  /** The entries that are a type of syringe that clinics stock, each once by its code or name. */
  syringes?: SyringeEntry[];
  /** The entries that are a scale of severity or of response, each once by its code or name. */
  rating_scales?: RatingScaleEntry[];
  /** The entries that are a published ratio between units of two products, each once by its code or name. */
  ratio_bands?: RatioBandEntry[];
  /** The entries that are a standard view of the face to photograph, each once by its code or name. */
  photo_views?: PhotoViewEntry[];
  /** The entries that are when a treatment is reviewed and when a change is seen, each once by its code or name. */
  review_rules?: ReviewRuleEntry[];
  /** The entries that are a line of the after-care sheet, each once by its code or name. */
  after_cares?: AfterCareEntry[];
  /** The entries that are who may lift a hold, each once by its code or name. */
  lift_rules?: LiftRuleEntry[];
  /** The entries that are how far a delivered dose may be from its plan before it becomes a finding, each once by its code or name. */
  tolerances?: ToleranceEntry[];
  /** Remarks. */
  notes?: Note[];
  /** Why conflicts were settled as they were. */
  settlements?: Settlement[];
}

/** EditionReference names an edition. */
export interface EditionReference {
  /** The edition's record; absent for the built-in one. */
  edition_id?: string;
  /** Its version. */
  version?: string;
  /** SHA-256 of its canonical content. */
  hash?: string;
}

/** EditionScope is where an edition is used. */
export interface EditionScope {
  /** The clinics, each once. */
  clinic_ids?: string[];
}

/** Publication is that an edition was published. */
export interface Publication {
  /** SHA-256 of its canonical content, the editions that it derives from included. */
  hash?: string;
  /** Who published it and when. */
  published?: Act;
}

/** Clinic is a place of work. Several form one organisation. */
export interface Clinic {
  /** The record's id: a random UUID as text in lower case, made with it and never changed. The engine fills it. */
  id?: string;
  /** Its name. */
  name?: string;
  /** How it is reached; the after-care sheet shows it. */
  contact?: Contact;
  /** Its zone, a name of the time zone database such as Europe/Athens. */
  time_zone?: string;
  /** Where it lies, of ISO 3166: a country or its part. */
  jurisdiction?: string;
  /** The staff id of its medical lead. */
  lead_id?: string;
  /** The edition that it works with; absent means the built-in one. */
  formulary?: ClinicFormulary;
  /** What its emergency card says; absent while it has none, which is a finding. */
  emergency?: EmergencyCard;
  /** What it wants in matters that the law leaves open; absent means the stricter of each. */
  policies?: ClinicPolicies;
  /** The syringes that it stocks. */
  syringes?: StockedSyringe[];
  /** Where vials are kept. */
  storage_places?: StoragePlaceEntry[];
  /** Dilutions that its lead adopted. */
  adopted_dilutions?: AdoptedDilution[];
  /** That it is closed for good, and why; absent while it works. */
  closed?: Void;
  /** Remarks. */
  notes?: Note[];
  /** Why conflicts were settled as they were. */
  settlements?: Settlement[];
}

/** ClinicFormulary is the edition that a clinic works with. */
export interface ClinicFormulary {
  /** The edition. */
  edition?: EditionReference;
  /** Who chose it and when. */
  chosen?: Act;
}

/** EmergencyCard is what to do at once, in the clinic's own words. */
export interface EmergencyCard {
  /** The card. */
  text?: string;
  /** The number to call. */
  phone?: string;
  /** Who wrote it and when. */
  written?: Act;
}

/** ClinicPolicies is what a clinic wants. They are decided together, so they are one register. */
export interface ClinicPolicies {
  /** True allows a second patient from one vial where that is lawful; false holds. */
  shared_vials?: boolean;
  /** True wants a witness for waste. */
  waste_witness?: boolean;
  /** True holds while a date of birth is only stated. */
  birth_proof?: boolean;
  /** True holds an order that was not examined face to face. */
  examination_in_person?: boolean;
  /** The time to think after consent was explained, in hours; 0 for none. */
  cooling_off_hours?: number;
  /** True wants a second person to check each preparation. */
  preparation_check?: boolean;
  /** The youngest age treated, in whole years; never below 18 without the lead's own hand. */
  youngest_years?: number;
  /** Who decided and when. */
  decided?: Act;
}

/** StockedSyringe is a type of syringe that a clinic stocks. */
export interface StockedSyringe {
  /** The element's id: a random UUID as text in lower case, made with it and never changed. The engine fills it. */
  id?: string;
  /** The type, as the formulary names it. */
  syringe_code?: string;
  /** That it is not stocked any more, and why; absent while it is. */
  ended?: Void;
}

/** StoragePlaceEntry is a place where vials are kept. */
export interface StoragePlaceEntry {
  /** The element's id: a random UUID as text in lower case, made with it and never changed. The engine fills it. */
  id?: string;
  /** The place with the temperatures that it should have. */
  place?: StorageRange;
  /** That it is not used any more, and why; absent while it is. */
  ended?: Void;
}

/** StorageRange is a place with the temperatures that it should have. */
export interface StorageRange {
  /** Its name, such as the fridge's. */
  name?: string;
  /** The lowest right temperature, in thousandths of a degree Celsius; absent when none is set. */
  lowest_millicelsius?: number;
  /** The highest right temperature, in thousandths of a degree Celsius; absent when none is set. */
  highest_millicelsius?: number;
}

/** AdoptedDilution is a dilution that the clinic's lead adopted. */
export interface AdoptedDilution {
  /** The element's id: a random UUID as text in lower case, made with it and never changed. The engine fills it. */
  id?: string;
  /** Content with diluent, and who adopted it. */
  dilution?: AdoptedStrength;
  /** That it is not adopted any more, and why; absent while it is. */
  ended?: Void;
}

/** AdoptedStrength is a dilution as the lead adopted it. */
export interface AdoptedStrength {
  /** The product. */
  product?: string;
  /** The content of the vial, in thousandths of a unit. */
  content_milliunits?: number;
  /** The diluent added, in nanolitres. */
  diluent_nanoliters?: string;
  /** The kind of diluent. */
  diluent?: string;
  /** Why. */
  reason?: string;
  /** Who adopted it and when. */
  adopted?: Act;
}

/** ConsentText is one version of a text that is explained before consent. Once published it never changes; a new wording is a new record. */
export interface ConsentText {
  /** The record's id: a random UUID as text in lower case, made with it and never changed. The engine fills it. */
  id?: string;
  /** What stays the same over the versions, such as lower_face. */
  series?: string;
  /** The version, unique within the series and language. */
  version?: string;
  /** The language, a tag of BCP 47. */
  language?: string;
  /** The title. */
  title?: string;
  /** What it covers. */
  scope?: ConsentScope;
  /** The time to think that it gives, in hours; absent means the clinic's rule. */
  cooling_off_hours?: number;
  /** The text. */
  paragraphs?: ConsentParagraph[];
  /** The risks it names. */
  risks?: NamedRisk[];
  /** That it was published; absent while it is a draft, which nobody may sign. */
  published?: TextPublication;
  /** That it is not to be used any more, and why; absent while it may be. */
  withdrawn?: Void;
  /** Remarks. */
  notes?: Note[];
  /** Why conflicts were settled as they were. */
  settlements?: Settlement[];
}

/** ConsentScope is what a consent text covers. */
export interface ConsentScope {
  /** The regions; empty for a text that is not about a region, such as one on photographs. */
  regions?: string[];
  /** The products; empty for any. */
  products?: string[];
  /** The purposes of photographs; empty in a text on treatment. */
  photo_purposes?: string[];
}

/** ConsentParagraph is a paragraph. */
export interface ConsentParagraph {
  /** The element's id: a random UUID as text in lower case, made with it and never changed. The engine fills it. */
  id?: string;
  /** Its place and its words. */
  body?: ParagraphText;
}

/** ParagraphText is words with their place. */
export interface ParagraphText {
  /** Its place, ascending. */
  position?: number;
  /** Its heading; empty for none. */
  heading?: string;
  /** Its words. */
  text?: string;
}

/** NamedRisk is a risk that the text names. */
export interface NamedRisk {
  /** The element's id: a random UUID as text in lower case, made with it and never changed. The engine fills it. */
  id?: string;
  /** The risk. */
  risk?: RiskText;
}

/** RiskText is a risk in plain words. */
export interface RiskText {
  /** The name by which a consent refers to it. */
  code?: string;
  /** Its words, for the mouth such as crookedness, that it may not be correctable, and that it wears off. */
  text?: string;
  /** Its place, ascending. */
  position?: number;
}

/** TextPublication is that a text was published. */
export interface TextPublication {
  /** SHA-256 of its canonical values. */
  digest?: string;
  /** Who published it and when. */
  published?: Act;
}

/** DayClose is the close of one clinic's day by a named person. What arrives after it reopens it visibly. */
export interface DayClose {
  /** The record's id: a random UUID as text in lower case, made with it and never changed. The engine fills it. */
  id?: string;
  /** The clinic. */
  clinic_id?: string;
  /** The day, by the clinic's calendar. */
  day?: Date;
  /** Each close, over exactly what was seen then. */
  closings?: Closing[];
  /** What arrived late and reopened it. */
  reopenings?: Reopening[];
  /** Vials counted by hand at the end of the day. */
  counts?: VialCount[];
  /** Remarks. */
  notes?: Note[];
  /** Why conflicts were settled as they were. */
  settlements?: Settlement[];
}

/** Closing is one close of a day. */
export interface Closing {
  /** The element's id: a random UUID as text in lower case, made with it and never changed. The engine fills it. */
  id?: string;
  /** What the person saw. */
  seen?: DaySeen;
  /** That it was opened again by hand, and why; absent while it stands. */
  taken_back?: Void;
}

/** DaySeen is a day as it stood when it was closed. */
export interface DaySeen {
  /** SHA-256 of the day's report as it was shown. */
  report_digest?: string;
  /** That report, in its canonical form. */
  report?: string;
  /** How many items were open on it: unsigned sessions, conflicts, held edits, silent tablets. */
  open_items?: number;
  /** What the person says about them; empty when nothing was open. */
  remark?: string;
  /** Who closed and when. */
  closed?: Act;
}

/** Reopening is that something arrived after a close. */
export interface Reopening {
  /** The element's id: a random UUID as text in lower case, made with it and never changed. The engine fills it. */
  id?: string;
  /** What arrived. */
  cause?: ReopeningCause;
}

/** ReopeningCause is what arrived after a close. */
export interface ReopeningCause {
  /** The kind of the record. */
  kind?: RecordKind;
  /** The record. */
  record_id?: string;
  /** The device that brought it; absent for a client of the API. */
  device_id?: string;
  /** When, by the server's clock. */
  at?: string;
}

/** VialCount is a vial found at the end of a day. */
export interface VialCount {
  /** The element's id: a random UUID as text in lower case, made with it and never changed. The engine fills it. */
  id?: string;
  /** Which and how much was left. */
  counted?: CountedVial;
  /** That it was miscounted, and why; absent while it counts. */
  void?: Void;
}

/** CountedVial is a vial as it was found. */
export interface CountedVial {
  /** The vial. */
  vial_id?: string;
  /** What was left, in nanolitres; absent when unopened or not measured. */
  left_nanoliters?: string;
  /** Who counted and when. */
  counted?: Act;
}

/** Lot is a batch of a product or of a diluent, with its recall. Vials name it; a vial whose lot was mistyped is led here by an alias. */
export interface Lot {
  /** The record's id: a random UUID as text in lower case, made with it and never changed. The engine fills it. */
  id?: string;
  /** What it is a batch of and its number. */
  identity?: LotIdentity;
  /** The last day on which it may be used, as printed. */
  expires_on?: Date;
  /** The global trade item number of its packs; absent when it is not known. */
  gtin?: string;
  /** Who supplied it; absent when it is not known. */
  supplier?: string;
  /** Numbers that mean this lot though they read otherwise. */
  aliases?: LotAlias[];
  /** Recalls; one that is not lifted stops the lot at every tablet's next exchange. */
  recalls?: LotRecall[];
  /** Remarks. */
  notes?: Note[];
  /** Why conflicts were settled as they were. */
  settlements?: Settlement[];
}

/** LotIdentity is a batch number with what it is a batch of. */
export interface LotIdentity {
  /** What it is a batch of. */
  kind?: LotKind;
  /** The toxin; absent for a diluent. */
  product?: string;
  /** The kind of diluent; absent for a toxin. */
  diluent?: string;
  /** The batch number as printed: at most 20 characters, as in GS1 application identifier 10. */
  number?: string;
}

/** LotAlias is a number that was read or typed for this lot. */
export interface LotAlias {
  /** The element's id: a random UUID as text in lower case, made with it and never changed. The engine fills it. */
  id?: string;
  /** The number and who says so. */
  alias?: LotAliasClaim;
  /** That it is another lot after all, and why; absent while it holds. */
  undone?: Void;
}

/** LotAliasClaim is a number that means this lot. */
export interface LotAliasClaim {
  /** The number as it was entered. */
  number?: string;
  /** Why it means this lot. */
  reason?: string;
  /** Who said so and when. */
  made?: Act;
}

/** LotRecall is a recall of the lot. */
export interface LotRecall {
  /** The element's id: a random UUID as text in lower case, made with it and never changed. The engine fills it. */
  id?: string;
  /** Who recalls it and why. */
  notice?: RecallNotice;
  /** That the recall was lifted, and why; absent while it stands. */
  lifted?: Void;
}

/** RecallNotice is a recall as it was entered. Nobody may lift the hold that it makes. */
export interface RecallNotice {
  /** Why. */
  reason?: string;
  /** The number of the maker's or the authority's notice; empty when there is none. */
  reference?: string;
  /** The date of the notice. */
  noticed_on?: Date;
  /** Who entered it and when. */
  entered?: Act;
}

/** LotKind is what a lot is a batch of. */
export type LotKind =
  /** Not stated; rejected on write. */
  | "LOT_KIND_UNSPECIFIED"
  /** A botulinum toxin. */
  | "LOT_KIND_TOXIN"
  /** A diluent. */
  | "LOT_KIND_DILUENT";

/** Order is the prescriber's leave to inject: a prescription, a direction, or a standing order where that is lawful. */
export interface Order {
  /** The record's id: a random UUID as text in lower case, made with it and never changed. The engine fills it. */
  id?: string;
  /** The patient; absent only in a standing order. */
  patient_id?: string;
  /** What it is. */
  kind?: OrderKind;
  /** The clinic; absent means any clinic of the organisation. */
  clinic_id?: string;
  /** The staff id of the prescriber. */
  prescriber_id?: string;
  /** How and when the prescriber examined the patient; absent means not examined, which holds where the policy wants it. */
  examination?: Examination;
  /** From when until when it holds. */
  validity?: Validity;
  /** How many sessions it covers; absent means one. */
  repeats?: number;
  /** Where it was made, of ISO 3166: a country or its part. It decides which rules apply. */
  jurisdiction?: string;
  /** What may be given: product, areas, most units. */
  lines?: OrderLine[];
  /** Changes given by voice, read back and countersigned. */
  changes?: VoiceChange[];
  /** Whom a standing order describes; absent in the other kinds. */
  standing?: StandingScope;
  /** That the prescriber issued it and with what meaning; absent while it is a draft, which permits nothing. */
  issued?: OrderIssue;
  /** That it may not be used any more, and why; absent while it may. */
  withdrawn?: Void;
  /** Remarks. */
  notes?: Note[];
  /** Why conflicts were settled as they were. */
  settlements?: Settlement[];
}

/** Examination is how and when the prescriber examined. */
export interface Examination {
  /** How. */
  way?: ExaminationWay;
  /** Who examined and when. */
  examined?: Act;
  /** What was found; empty when nothing was written. */
  findings?: string;
}

/** Validity is from when until when. */
export interface Validity {
  /** The first day. */
  from?: Date;
  /** The last day. */
  until?: Date;
}

/** OrderLine is one thing that may be given. */
export interface OrderLine {
  /** The element's id: a random UUID as text in lower case, made with it and never changed. The engine fills it. */
  id?: string;
  /** Product, areas and most units, which agree. */
  leave?: OrderLeave;
  /** That this line may not be used any more, and why; absent while it may. */
  withdrawn?: Void;
}

/** OrderLeave is a product with its areas and its most units. */
export interface OrderLeave {
  /** The product. */
  product?: string;
  /** The regions that may be treated; empty means those of the muscles named. */
  regions?: string[];
  /** The muscles that may be treated; empty means all of the regions named. */
  muscles?: string[];
  /** The most in one session, in thousandths of a unit of the product. */
  most_milliunits?: number;
  /** What else the prescriber wants; empty when nothing. */
  instructions?: string;
}

/** VoiceChange is a change of an order that the prescriber gave by voice. */
export interface VoiceChange {
  /** The element's id: a random UUID as text in lower case, made with it and never changed. The engine fills it. */
  id?: string;
  /** What was said, by whom, and that it was read back. */
  change?: VoiceOrder;
  /** That the prescriber confirmed it in writing; absent while that is owed. */
  countersigned?: Act;
}

/** VoiceOrder is an order given by voice. */
export interface VoiceOrder {
  /** What was ordered, in words. */
  text?: string;
  /** What may be given from now on; absent when the change is not about that. */
  leave?: OrderLeave;
  /** The staff id of who gave it. */
  prescriber_id?: string;
  /** Who took it down and when. */
  heard?: Act;
  /** True when it was read back and confirmed; false holds. */
  read_back?: boolean;
}

/** StandingScope is whom a standing order describes. */
export interface StandingScope {
  /** The staff who may act on it. */
  staff_ids?: string[];
  /** Which patients it covers and which it leaves out, in words. */
  criteria?: string;
  /** The youngest age that it covers, in whole years. */
  youngest_years?: number;
}

/** OrderIssue is that an order was issued. */
export interface OrderIssue {
  /** Who issued it and when. */
  issued?: Act;
  /** What the prescriber confirmed, as the screen showed it. */
  statement?: string;
  /** SHA-256 of the order's canonical values as they were issued. */
  digest?: string;
}

/** OrderKind is what makes an injection lawful. */
export type OrderKind =
  /** Not stated; rejected on write. */
  | "ORDER_KIND_UNSPECIFIED"
  /** A prescription for this patient. */
  | "ORDER_KIND_PRESCRIPTION"
  /** A written direction for this patient. */
  | "ORDER_KIND_PATIENT_SPECIFIC_DIRECTION"
  /** A written order for all patients whom it describes, where that is lawful. */
  | "ORDER_KIND_STANDING_ORDER";

/** ExaminationWay is how a prescriber examined. */
export type ExaminationWay =
  /** Not stated; rejected on write. */
  | "EXAMINATION_WAY_UNSPECIFIED"
  /** Face to face. */
  | "EXAMINATION_WAY_IN_PERSON"
  /** By video. */
  | "EXAMINATION_WAY_VIDEO"
  /** By telephone. */
  | "EXAMINATION_WAY_TELEPHONE"
  /** From records alone. */
  | "EXAMINATION_WAY_RECORDS";

/** ImportOrigin is where a record came from that was brought in from another system. What a row did not say stays absent. */
export interface ImportOrigin {
  /** The system or file that it came from, in words. */
  system?: string;
  /** The row or the id there; empty when it has none. */
  row?: string;
  /** Who brought it in and when. */
  imported?: Act;
}

/** Patient is a person who is or was treated. Two records of one person are linked, never merged into one. */
export interface Patient {
  /** The record's id: a random UUID as text in lower case, made with it and never changed. The engine fills it. */
  id?: string;
  /** The person's name. */
  name?: PersonName;
  /** The date of birth and how it is known; absent means unknown, which holds treatment by default. */
  birth?: BirthDate;
  /** Sex as the patient states it for the record; absent when not asked. */
  sex?: string;
  /** How the patient is reached. */
  contact?: Contact;
  /** The language that the patient reads, a tag of BCP 47; absent when not asked. */
  language?: string;
  /** The clinic that the patient belongs to; absent means every clinic of the organisation alike. */
  home_clinic_id?: string;
  /** That the record is for practice and no real person; it never mixes with real ones. Absent for real patients. */
  practice?: PracticeMark;
  /** Numbers and documents that name the person. */
  identifiers?: PatientIdentifier[];
  /** What everyone who treats the person must see first. */
  alerts?: Alert[];
  /** What the person allowed photographs to be used for. */
  photo_consents?: PhotoConsent[];
  /** Treatments with botulinum toxin elsewhere, as the patient or a document reports them. */
  prior_treatments?: PriorTreatment[];
  /** Other records of the same person. */
  links?: PatientLink[];
  /** Attempts to reach the patient, for a recall or a review. */
  contacts_made?: ContactMade[];
  /** The date of death; absent while none is known. */
  death?: Date;
  /** What the law or the policy says about keeping the record; absent means the policy's default. */
  retention?: Retention;
  /** That the content was lawfully erased; every replica honours it. */
  erased?: Erasure;
  /** Where the record was brought in from; absent when it was made here. */
  imported?: ImportOrigin;
  /** That the record was made by mistake, and why; absent while it counts. */
  void?: Void;
  /** Remarks. */
  notes?: Note[];
  /** Why conflicts were settled as they were. */
  settlements?: Settlement[];
}

/** BirthDate is a date of birth with how it is known. */
export interface BirthDate {
  /** The date. */
  date?: Date;
  /** How it is known. Under 18, or only stated where the policy wants proof, holds by default. */
  proof?: BirthProof;
  /** Who entered or checked it and when. */
  checked?: Act;
}

/** PracticeMark says that a record is for practice. */
export interface PracticeMark {
  /** Who set up the practice record and when. */
  set?: Act;
}

/** PatientIdentifier is a number or a document that names a person. */
export interface PatientIdentifier {
  /** The element's id: a random UUID as text in lower case, made with it and never changed. The engine fills it. */
  id?: string;
  /** What it is and what it says. */
  value?: IdentifierValue;
  /** That it does not name this person, and why; absent while it does. */
  void?: Void;
}

/** IdentifierValue is an identifier with what it is. */
export interface IdentifierValue {
  /** What it is, such as clinic_number, national_number or passport. */
  kind?: string;
  /** Who issued it; empty when the kind says so. */
  issuer?: string;
  /** What it says. */
  number?: string;
}

/** Alert is what everyone who treats the person must see first. */
export interface Alert {
  /** The element's id: a random UUID as text in lower case, made with it and never changed. The engine fills it. */
  id?: string;
  /** What it says. */
  content?: AlertContent;
  /** That it holds no longer, and why; absent while it holds. */
  ended?: Void;
}

/** AlertContent is an alert as it was raised. */
export interface AlertContent {
  /** What it is about. */
  kind?: AlertKind;
  /** The condition, drug group or allergen as the formulary names it; absent when it has no code, and then guardrails can only show the text. */
  condition?: string;
  /** The words that a person reads. */
  text?: string;
  /** Since when; absent when it is not known. */
  since?: ApproximateDate;
  /** Who raised it and when. */
  raised?: Act;
}

/** PhotoConsent is what photographs may be used for. */
export interface PhotoConsent {
  /** The element's id: a random UUID as text in lower case, made with it and never changed. The engine fills it. */
  id?: string;
  /** The purpose, the answer and who took it. */
  grant?: PhotoGrant;
  /** That it was withdrawn; absent while it holds. */
  withdrawn?: Withdrawal;
}

/** PhotoGrant is an answer about one purpose of photographs. */
export interface PhotoGrant {
  /** The purpose, such as record, teaching or publication. */
  purpose?: string;
  /** The answer. */
  answer?: ConsentAnswer;
  /** The text that was shown; absent when asked by word. */
  consent_text_id?: string;
  /** Who asked and when. */
  taken?: Act;
}

/** Withdrawal is that a person took a consent back. */
export interface Withdrawal {
  /** Who recorded it and when. */
  recorded?: Act;
  /** What the person said; a reason is not needed. */
  reason?: string;
}

/** PriorTreatment is a treatment with botulinum toxin elsewhere. */
export interface PriorTreatment {
  /** The element's id: a random UUID as text in lower case, made with it and never changed. The engine fills it. */
  id?: string;
  /** What is known of it. */
  report?: PriorTreatmentReport;
  /** That it was not so, and why; absent while it counts. */
  void?: Void;
}

/** PriorTreatmentReport is what is known of a treatment elsewhere. An unknown dose counts for the interval and never as zero. */
export interface PriorTreatmentReport {
  /** The day, as far as it is known. */
  on?: ApproximateDate;
  /** The product; absent when it is not known. */
  product?: string;
  /** The dose in thousandths of a unit of the product; absent when it is not known. */
  dose_milliunits?: number;
  /** The regions treated; empty when they are not known. */
  regions?: string[];
  /** True when it was for a disease and not for the face's looks. */
  therapeutic?: boolean;
  /** The clinic or town, in words; empty when it is not known. */
  place?: string;
  /** Who told. */
  origin?: ReportOrigin;
  /** Who wrote it down and when. */
  taken?: Act;
}

/** PatientLink says that another record is of the same person, so that both histories are shown as one. It is reversible. */
export interface PatientLink {
  /** The element's id: a random UUID as text in lower case, made with it and never changed. The engine fills it. */
  id?: string;
  /** Which record and on what grounds. */
  claim?: LinkClaim;
  /** That they are two persons after all, and why; absent while the link holds. */
  undone?: Void;
}

/** LinkClaim is which record is of the same person. */
export interface LinkClaim {
  /** The other patient's record. */
  patient_id?: string;
  /** On what grounds. */
  grounds?: string;
  /** Who linked them and when. */
  made?: Act;
}

/** ContactMade is one attempt to reach the patient. */
export interface ContactMade {
  /** The element's id: a random UUID as text in lower case, made with it and never changed. The engine fills it. */
  id?: string;
  /** Why, how and with what result. */
  attempt?: ContactAttempt;
  /** That it was written down by mistake, and why; absent while it stands. */
  undone?: Void;
}

/** ContactAttempt is how a patient was reached, or not. */
export interface ContactAttempt {
  /** Why, such as recall, review or result. */
  purpose?: string;
  /** The lot recalled; absent when it is not about a recall. */
  lot_id?: string;
  /** How, such as telephone, mail or letter. */
  way?: string;
  /** With what result. */
  result?: string;
  /** Who tried and when. */
  made?: Act;
  /** True when the patient was told; false when not, or when it was not asked. */
  reached?: boolean;
}

/** Retention is how long a record is kept. */
export interface Retention {
  /** The first day on which it may be erased; absent while a hold stands. */
  until?: Date;
  /** Why it must be kept beyond the policy; empty when there is no such reason. */
  legal_hold?: string;
  /** Who set it and when. */
  set?: Act;
}

/** Erasure is that a record's content was erased because the law allows or asks for it. */
export interface Erasure {
  /** On what lawful basis. */
  basis?: string;
  /** Who ordered it and when. */
  ordered?: Act;
}

/** BirthProof says how a date of birth is known. */
export type BirthProof =
  /** Not stated; rejected on write. */
  | "BIRTH_PROOF_UNSPECIFIED"
  /** The patient said so. */
  | "BIRTH_PROOF_STATED"
  /** A document was seen. */
  | "BIRTH_PROOF_DOCUMENT"
  /** Another clinic or a register gave it. */
  | "BIRTH_PROOF_REFERRAL";

/** AlertKind is what an alert is about. */
export type AlertKind =
  /** Not stated; rejected on write. */
  | "ALERT_KIND_UNSPECIFIED"
  /** An allergy. */
  | "ALERT_KIND_ALLERGY"
  /** A disease or a state of the body. */
  | "ALERT_KIND_DISEASE"
  /** A drug that is taken. */
  | "ALERT_KIND_DRUG"
  /** A reaction to a treatment before. */
  | "ALERT_KIND_REACTION"
  /** That toxin stopped working. */
  | "ALERT_KIND_RESISTANCE"
  /** Faints, or fears needles. */
  | "ALERT_KIND_FAINTING"
  /** Anything else that must be seen first. */
  | "ALERT_KIND_OTHER";

/** ConsentAnswer is what a person answered when asked to consent. */
export type ConsentAnswer =
  /** Not stated; rejected on write. */
  | "CONSENT_ANSWER_UNSPECIFIED"
  /** Consent was given. */
  | "CONSENT_ANSWER_GIVEN"
  /** Consent was refused. */
  | "CONSENT_ANSWER_REFUSED";

/** ReportOrigin is who told of a treatment elsewhere. */
export type ReportOrigin =
  /** Not stated; rejected on write. */
  | "REPORT_ORIGIN_UNSPECIFIED"
  /** The patient. */
  | "REPORT_ORIGIN_PATIENT"
  /** A document of the other clinic. */
  | "REPORT_ORIGIN_DOCUMENT"
  /** The other clinic, by word. */
  | "REPORT_ORIGIN_CLINIC";

/** Rating is a grade of one region and side. */
export interface Rating {
  /** The element's id: a random UUID as text in lower case, made with it and never changed. The engine fills it. */
  id?: string;
  /** Scale, version, direction and grade, which agree. */
  grade?: Grade;
  /** That it does not count, and why; absent while it does. */
  void?: Void;
}

/** Grade is a grade on a scale. */
export interface Grade {
  /** The scale, as the formulary names it. */
  scale?: string;
  /** The version of the scale. */
  version?: string;
  /** What a higher grade means. */
  direction?: ScaleDirection;
  /** The region, as the anatomy names it. */
  region?: string;
  /** The side, the patient's own; absent when the region is graded as one. */
  side?: Side;
  /** What the muscles did. */
  contraction?: Contraction;
  /** The grade. */
  grade?: number;
  /** Who graded and when. */
  rated?: Act;
  /** The photograph that it was graded from; absent when from the patient. */
  photo_id?: string;
}

/** Contraction is what the muscles do while a region is graded. */
export type Contraction =
  /** Not stated; rejected on write. */
  | "CONTRACTION_UNSPECIFIED"
  /** At rest. */
  | "CONTRACTION_AT_REST"
  /** At full contraction. */
  | "CONTRACTION_CONTRACTED"
  /** At a full smile. */
  | "CONTRACTION_SMILING"
  /** With the lower teeth showing. */
  | "CONTRACTION_LOWER_TEETH";

/** Photo is what is known of a photograph. The image is a blob of its own under its SHA-256 and comes after the record. */
export interface Photo {
  /** The record's id: a random UUID as text in lower case, made with it and never changed. The engine fills it. */
  id?: string;
  /** The patient. */
  patient_id?: string;
  /** The session it was taken in; absent when in none. */
  session_id?: string;
  /** The clinic where it was taken. */
  clinic_id?: string;
  /** The image: its hash, size and form, which agree. */
  image?: Image;
  /** A small form of the image; absent when there is none. */
  thumbnail?: Image;
  /** What it shows, named from the patient's side. */
  view?: View;
  /** Who took it and when. */
  taken?: Act;
  /** The photograph that was shown faint to match it; absent when none was. */
  compared_photo_id?: string;
  /** What it may be used for; never more than the patient's consent. Absent means the record alone. */
  purposes?: Purposes;
  /** That it is not what it says, and why; absent while it counts. */
  void?: Void;
  /** That the image was erased; the description stays. */
  image_erased?: Erasure;
  /** Remarks. */
  notes?: Note[];
  /** Why conflicts were settled as they were. */
  settlements?: Settlement[];
}

/** Image is an image as stored, its metadata stripped. */
export interface Image {
  /** SHA-256 of its bytes. */
  sha256?: string;
  /** Its size in bytes. */
  size_bytes?: string;
  /** Its media type. */
  media_type?: string;
  /** Its width. */
  width_pixels?: number;
  /** Its height. */
  height_pixels?: number;
}

/** View is what a photograph shows. */
export interface View {
  /** The view of the formulary's list. */
  view?: string;
  /** The region. */
  region?: string;
  /** What the muscles did. */
  contraction?: Contraction;
  /** The patient's side that is toward the camera; absent from the front. */
  side?: Side;
}

/** Purposes is what a photograph may be used for. */
export interface Purposes {
  /** The purposes, such as record, teaching or publication. */
  purposes?: string[];
}

/** Place is where a needle goes in, in a face frame. Its numbers mean nothing without the frame and its scale, so all of it is one register. */
export interface Place {
  /** The face frame, such as mouth, chin, brow, orbit, nose, cheek or neck. */
  frame?: string;
  /** Distance from the frame's origin toward the patient's left, in micrometres. */
  x_micrometers?: number;
  /** Distance from the frame's origin upward, in micrometres. */
  y_micrometers?: number;
  /** What the frame was scaled by; absent means that the frame's stated default was used. */
  scale?: FrameScale;
}

/** FrameScale is what was measured on the patient to scale a frame. */
export interface FrameScale {
  /** The distance measured, such as mouth_width. */
  measure?: string;
  /** What it measured, in micrometres. */
  measured_micrometers?: number;
}

/** Injection is one needle placement. What is planned are its registers; what was given are its givings. */
export interface Injection {
  /** The element's id: a random UUID as text in lower case, made with it and never changed. The engine fills it. */
  id?: string;
  /** The muscle, as the anatomy names it, such as depressor_anguli_oris. */
  muscle?: string;
  /** The side, the patient's own. A paired muscle is never on the midline. */
  side?: Side;
  /** Where the needle goes in; absent while only the muscle is planned. */
  place?: Place;
  /** How deep; absent when it was not planned. */
  depth?: Depth;
  /** The dose planned with its product; absent in an injection that nobody planned. */
  planned?: Dose;
  /** How the needle is held and moved; absent when it was not said. */
  technique?: Technique;
  /** Its place in the order in which injections are meant to be given, ascending. */
  position?: number;
  /** Why this side is meant to differ from the other; absent when it is not. */
  uneven_reason?: string;
  /** What was given. Two givings are the truth of two tablets that gave one planned injection. */
  givings?: Giving[];
  /** That it is not part of the plan, and why; absent while it is. What was given stays. */
  void?: Void;
}

/** Depth is how deep a needle goes. */
export interface Depth {
  /** The layer. */
  layer?: DepthLayer;
  /** The depth from the skin, in micrometres; absent when it was not measured. */
  micrometers?: number;
}

/** Technique is how a needle is held and moved. */
export interface Technique {
  /** The needle's gauge; absent when it was not said. */
  needle_gauge?: number;
  /** The needle's length, in micrometres; absent when it was not said. */
  needle_micrometers?: number;
  /** The angle to the skin, in thousandths of a degree; absent when it was not said. */
  angle_millidegrees?: number;
  /** Where the needle points, such as lateral or cranial; absent when it was not said. */
  direction?: string;
  /** How the content is given, such as bolus, linear or fan; absent when it was not said. */
  manner?: string;
}

/** Giving is one injection as it was given. Nothing given is deleted; it is voided with a reason. */
export interface Giving {
  /** The element's id: a random UUID as text in lower case, made with it and never changed. The engine fills it. */
  id?: string;
  /** How much of which product from where, which agree. */
  given?: GivenDose;
  /** Where the needle went in; absent when it was as planned. */
  place?: Place;
  /** How deep; absent when it was as planned. */
  depth?: Depth;
  /** The side, the patient's own; absent when it was as planned. */
  side?: Side;
  /** Who injected and when. */
  done?: Act;
  /** What leaked or was spilled; absent when nothing was. */
  spill?: Spill;
  /** The staff id of who recorded it; absent when it is who injected. */
  recorded_by?: string;
  /** That it was not given so, and why; absent while it counts. */
  void?: Void;
}

/** GivenDose is a dose given, with the vial and the preparation it came from and the marks that it was read by. */
export interface GivenDose {
  /** The dose with its product. */
  dose?: Dose;
  /** The volume that the marks say was given, in nanolitres; absent when only the dose was recorded. */
  volume_nanoliters?: string;
  /** The vial; absent when it is not known, which is a finding. */
  vial_id?: string;
  /** The preparation, an element of the vial; absent for a ready liquid. */
  preparation_id?: string;
  /** The draw, an element of the vial; absent when it is not known. */
  draw_id?: string;
  /** The syringe, an element of this session; absent when it was not told apart. */
  syringe_id?: string;
  /** Where the plunger stood before, in nanolitres; absent when it was not read. */
  mark_before_nanoliters?: string;
  /** Where the plunger stood after, in nanolitres; absent when it was not read. */
  mark_after_nanoliters?: string;
}

/** Spill is what did not reach the muscle. */
export interface Spill {
  /** How much, in nanolitres; absent when it is unknown, and then it is a range in every sum. */
  lost_nanoliters?: string;
  /** What happened; empty when the volume says it. */
  text?: string;
  /** Who saw it and when. */
  seen?: Act;
}

/** DepthLayer is the layer that the tip of the needle is in. */
export type DepthLayer =
  /** Not stated; rejected on write. */
  | "DEPTH_LAYER_UNSPECIFIED"
  /** In the skin. */
  | "DEPTH_LAYER_INTRADERMAL"
  /** Under the skin. */
  | "DEPTH_LAYER_SUBCUTANEOUS"
  /** In the muscle. */
  | "DEPTH_LAYER_INTRAMUSCULAR"
  /** On the bone. */
  | "DEPTH_LAYER_PERIOSTEAL";

/** Protocol is a plan that a clinic keeps as a starting point. It is never given as it stands: every dose of a session is planned for its patient. */
export interface Protocol {
  /** The record's id: a random UUID as text in lower case, made with it and never changed. The engine fills it. */
  id?: string;
  /** The title. */
  title?: string;
  /** The version, unique within the title. */
  version?: string;
  /** What it is for. */
  scope?: ProtocolScope;
  /** The injections. */
  points?: ProtocolPoint[];
  /** That it was published; absent while it is a draft, from which nobody may plan. */
  published?: TextPublication;
  /** That it is not to be used any more, and why; absent while it may be. */
  withdrawn?: Void;
  /** Remarks. */
  notes?: Note[];
  /** Why conflicts were settled as they were. */
  settlements?: Settlement[];
}

/** ProtocolScope is what a protocol is for. */
export interface ProtocolScope {
  /** The product whose units its doses are in. */
  product?: string;
  /** The regions. */
  regions?: string[];
  /** The clinics; empty for the whole organisation. */
  clinic_ids?: string[];
}

/** ProtocolPoint is one injection of a protocol. */
export interface ProtocolPoint {
  /** The element's id: a random UUID as text in lower case, made with it and never changed. The engine fills it. */
  id?: string;
  /** Muscle, side, place and dose, which agree. */
  point?: PointPlan;
  /** Its place in the order, ascending. */
  position?: number;
}

/** PointPlan is one injection as a protocol has it. */
export interface PointPlan {
  /** The muscle, as the anatomy names it. */
  muscle?: string;
  /** The side, the patient's own. */
  side?: Side;
  /** Where, in a face frame. */
  place?: Place;
  /** How deep; absent when it leaves that open. */
  depth?: Depth;
  /** The dose to start from. */
  dose?: Dose;
  /** How; absent when it leaves that open. */
  technique?: Technique;
}

/** ScreeningAnswer is the answer to one question. Unanswered is not "no": what was not answered has no answer. */
export interface ScreeningAnswer {
  /** The element's id: a random UUID as text in lower case, made with it and never changed. The engine fills it. */
  id?: string;
  /** The answer with the version of its question. */
  answer?: Answer;
  /** That it was carried forward from an earlier session, and whether it was confirmed; absent when it was asked anew. */
  carried?: CarriedAnswer;
  /** That it does not count, and why; absent while it does. */
  void?: Void;
}

/** Answer is an answer and the question that was read to the patient. */
export interface Answer {
  /** The questionnaire. */
  questionnaire_id?: string;
  /** Its version. */
  version?: string;
  /** The question within it. */
  question?: string;
  /** The answer to a question of yes and no; absent in the other kinds. */
  yes_no?: YesNo;
  /** The choices taken, in a question with choices. */
  choices?: string[];
  /** The answer in words; empty when there are none. */
  text?: string;
  /** The answer to a question for a date; absent in the other kinds. */
  on?: ApproximateDate;
  /** The product, in a question about earlier treatment; absent when unknown. */
  product?: string;
  /** The dose, in a question about earlier treatment, in thousandths of a unit; absent when unknown. */
  dose_milliunits?: number;
  /** Who took it and when. */
  taken?: Act;
}

/** CarriedAnswer is where an answer was carried from. */
export interface CarriedAnswer {
  /** The session where it was asked. */
  session_id?: string;
  /** Who confirmed it with the patient and when; absent while nobody did, and then it does not clear anything. */
  confirmed?: Act;
}

/** YesNo is an answer to a question that can be answered so. */
export type YesNo =
  /** Not stated; rejected on write. */
  | "YES_NO_UNSPECIFIED"
  /** Yes. */
  | "YES_NO_YES"
  /** No. */
  | "YES_NO_NO"
  /** The patient does not know. Guardrails take it for the worse answer. */
  | "YES_NO_UNSURE"
  /** The patient does not want to say. Guardrails take it for the worse answer. */
  | "YES_NO_DECLINED";

/** Questionnaire is one version of the questions asked before treatment. Once published it never changes; a new wording is a new record. */
export interface Questionnaire {
  /** The record's id: a random UUID as text in lower case, made with it and never changed. The engine fills it. */
  id?: string;
  /** What stays the same over the versions. */
  series?: string;
  /** The version, unique within the series and language. */
  version?: string;
  /** The language, a tag of BCP 47. */
  language?: string;
  /** The title. */
  title?: string;
  /** The questions. */
  questions?: Question[];
  /** That it was published; absent while it is a draft, which nobody may answer. */
  published?: TextPublication;
  /** That it is not to be used any more, and why; absent while it may be. */
  withdrawn?: Void;
  /** Remarks. */
  notes?: Note[];
  /** Why conflicts were settled as they were. */
  settlements?: Settlement[];
}

/** Question is one question. */
export interface Question {
  /** The element's id: a random UUID as text in lower case, made with it and never changed. The engine fills it. */
  id?: string;
  /** Its words and what an answer is, which agree. */
  body?: QuestionText;
}

/** QuestionText is a question as it is read to the patient. */
export interface QuestionText {
  /** The name by which answers refer to it. */
  code?: string;
  /** Its place, ascending. */
  position?: number;
  /** Its words. */
  text?: string;
  /** What an answer is. */
  form?: AnswerForm;
  /** The choices, in a question that has some. */
  choices?: QuestionChoice[];
  /** The condition of the formulary that yes means; absent when guardrails do not read it. */
  condition?: string;
  /** True when a treatment is held until it is answered. */
  must_be_answered?: boolean;
  /** How many days an answer may be carried forward; absent means it is asked each time. */
  ask_again_days?: number;
  /** When it is asked at all; absent means always. */
  shown_if?: QuestionCondition;
}

/** QuestionChoice is one choice. */
export interface QuestionChoice {
  /** The name by which answers refer to it. */
  code?: string;
  /** Its words. */
  text?: string;
  /** The condition of the formulary that it means; absent when none. */
  condition?: string;
}

/** QuestionCondition is an answer to another question. */
export interface QuestionCondition {
  /** The other question. */
  question?: string;
  /** The answer that it must have; absent in a question with choices. */
  yes_no?: YesNo;
  /** The choice that must have been taken; absent in a question of yes and no. */
  choice?: string;
}

/** AnswerForm is what an answer to a question is. */
export type AnswerForm =
  /** Not stated; rejected on write. */
  | "ANSWER_FORM_UNSPECIFIED"
  /** Yes, no, unsure or declined. */
  | "ANSWER_FORM_YES_NO"
  /** One of the choices. */
  | "ANSWER_FORM_ONE_CHOICE"
  /** Any of the choices. */
  | "ANSWER_FORM_MANY_CHOICES"
  /** Words. */
  | "ANSWER_FORM_TEXT"
  /** A day, as far as it is known. */
  | "ANSWER_FORM_DATE"
  /** A treatment elsewhere: product, dose and day, as far as they are known. */
  | "ANSWER_FORM_PRIOR_TREATMENT";

/** Consent is what was explained of one treatment and what the patient agreed to. */
export interface Consent {
  /** The element's id: a random UUID as text in lower case, made with it and never changed. The engine fills it. */
  id?: string;
  /** Which text, of what, when; they agree. */
  explained?: Explanation;
  /** What the patient decided; absent while it is open. */
  decision?: ConsentDecision;
  /** The patient's signature; absent while it is owed. */
  signature?: ConsentSignature;
  /** That it was withdrawn; absent while it stands. */
  withdrawn?: Withdrawal;
  /** Who interpreted; absent when nobody did. */
  interpreter?: string;
}

/** Explanation is which text was explained. */
export interface Explanation {
  /** The text's record. */
  consent_text_id?: string;
  /** Its version. */
  version?: string;
  /** SHA-256 of the text as it was shown. */
  digest?: string;
  /** The regions that it covers. */
  regions?: string[];
  /** The product; absent when the text covers any. */
  product?: string;
  /** The time to think that the clinic gives before the first needle, in hours; 0 for none. */
  cooling_off_hours?: number;
  /** Who explained it and when. The time to think runs from here. */
  explained?: Act;
}

/** ConsentDecision is what a patient decided. */
export interface ConsentDecision {
  /** The decision. */
  answer?: ConsentAnswer;
  /** What the patient asked and was told; empty when nothing. */
  questions?: string;
  /** The risks that the patient repeated or confirmed, as the text names them. */
  risks_understood?: string[];
  /** Who took it and when. */
  taken?: Act;
}

/** ConsentSignature is a signature by hand. */
export interface ConsentSignature {
  /** Who signed, by name. */
  signer_name?: string;
  /** What the signer is to the patient: self, parent, guardian or another. */
  relation?: string;
  /** The strokes, in the order drawn. */
  strokes?: Stroke[];
  /** SHA-256 of the text that was on the screen. */
  text_digest?: string;
  /** Who held the tablet and when. */
  taken?: Act;
}

/** Stroke is one line of a pen. */
export interface Stroke {
  /** Its points, x and y in turn, in micrometres from the upper left corner of the field. */
  points_micrometers?: number[];
}

/** FindingAnswer is what a person answered to a finding. A finding's id is hashed from its code and subject, so every replica finds the same one. */
export interface FindingAnswer {
  /** The element's id: a random UUID as text in lower case, made with it and never changed. The engine fills it. */
  id?: string;
  /** The finding as it was shown and what was decided. */
  answer?: FindingDecision;
  /** That the answer does not stand any more, and why; absent while it does. */
  taken_back?: Void;
}

/** FindingDecision is a decision about a finding, with the finding as it was read. */
export interface FindingDecision {
  /** The finding's id: SHA-256 in hexadecimal of its code and subject. */
  finding_id?: string;
  /** Its code. */
  code?: string;
  /** Its level as shown. */
  level?: Level;
  /** Its sentence as shown. */
  text?: string;
  /** What was decided. */
  decision?: FindingDecisionKind;
  /** Why; needed to lift a hold. */
  reason?: string;
  /** The edition that it rests on; absent when it rests on none. */
  edition?: EditionReference;
  /** Who decided and when. */
  decided?: Act;
  /** The role in which she did. */
  role?: Role;
}

/** FindingDecisionKind is what was decided about a finding. */
export type FindingDecisionKind =
  /** Not stated; rejected on write. */
  | "FINDING_DECISION_KIND_UNSPECIFIED"
  /** A hold was lifted. */
  | "FINDING_DECISION_KIND_LIFTED"
  /** A caution was seen and accepted. */
  | "FINDING_DECISION_KIND_ACCEPTED"
  /** It was heeded: the plan was changed or nothing was given. */
  | "FINDING_DECISION_KIND_HEEDED";

/** FaceMeasurement is a distance measured on the face. */
export interface FaceMeasurement {
  /** The element's id: a random UUID as text in lower case, made with it and never changed. The engine fills it. */
  id?: string;
  /** Which and how long. */
  distance?: MeasuredDistance;
  /** That it is wrong, and why; absent while it counts. */
  void?: Void;
}

/** MeasuredDistance is a distance between two landmarks. */
export interface MeasuredDistance {
  /** The distance, as the anatomy names it, such as mouth_width. */
  measure?: string;
  /** What the muscles did. */
  contraction?: Contraction;
  /** The side, for a distance that each side has; absent otherwise. */
  side?: Side;
  /** How long, in micrometres. */
  micrometers?: number;
  /** Who measured and when. */
  measured?: Act;
}

/** SessionSyringe is a syringe drawn up for this session. Its content is a draw of a vial. */
export interface SessionSyringe {
  /** The element's id: a random UUID as text in lower case, made with it and never changed. The engine fills it. */
  id?: string;
  /** From which vial, which type, drawn to which mark. */
  filling?: SyringeFilling;
  /** Who drew it up and when. */
  drawn?: Act;
  /** Needle change and priming; absent when there was none. */
  priming?: Priming;
  /** Where the plunger was seen to stand; a reading replans what follows. */
  readings?: PlungerReading[];
  /** Who put it away and when; absent while it is in use. */
  emptied?: Act;
  /** That it was not drawn up, and why; absent while it counts. */
  void?: Void;
}

/** SyringeFilling is how a syringe was filled. Its parts agree. */
export interface SyringeFilling {
  /** The type of syringe of the formulary; absent when it has none. */
  syringe_code?: string;
  /** Its nominal capacity, in nanolitres. */
  capacity_nanoliters?: string;
  /** The smallest step that is read on it, in nanolitres. */
  graduation_nanoliters?: string;
  /** The vial. */
  vial_id?: string;
  /** The preparation, an element of the vial; absent for a ready liquid. */
  preparation_id?: string;
  /** The mark that it was drawn to after priming, in nanolitres. */
  drawn_nanoliters?: string;
  /** What is written on it; empty when nothing is. */
  label?: string;
}

/** Priming is a needle change and what it cost. */
export interface Priming {
  /** True when the needle was changed after drawing. */
  needle_changed?: boolean;
  /** What was pushed out, in nanolitres; absent when unknown. */
  primed_nanoliters?: string;
  /** Who did it and when. */
  done?: Act;
}

/** PlungerReading is where a plunger was seen to stand. */
export interface PlungerReading {
  /** The element's id: a random UUID as text in lower case, made with it and never changed. The engine fills it. */
  id?: string;
  /** The mark. */
  reading?: PlungerMark;
}

/** PlungerMark is a mark read. */
export interface PlungerMark {
  /** The mark, in nanolitres. */
  mark_nanoliters?: string;
  /** The injection after which it was read; absent when before the first. */
  after_injection_id?: string;
  /** Who read it and when. */
  read?: Act;
}

/** SignedContent is one signature: what was signed, as it was, by whom, meaning what. It is one register and is written once. */
export interface SignedContent {
  /** The version vector that was signed, canonical (docs/format.md). The server holds the edit when its own fold at this vector differs. */
  vector?: string;
  /** SHA-256 over the record's key, the vector and the values. */
  digest?: string;
  /** The record as it was signed: its canonical message without its signatures. */
  values?: string;
  /** The staff id of who signed, a UUID. */
  signer_id?: string;
  /** What is said by it. */
  meaning?: SignatureMeaning;
  /** The device's claim of when, milliseconds since 1970 UTC; orders nothing. */
  signed_at_unix_ms?: string;
}

/** SignatureMeaning is what a person says by signing. */
export type SignatureMeaning =
  /** Rejected on write. */
  | "SIGNATURE_MEANING_UNSPECIFIED"
  /** "I did this and this is what was done." */
  | "SIGNATURE_MEANING_PERFORMED"
  /** "I supervised this." */
  | "SIGNATURE_MEANING_SUPERVISED"
  /** "I have read what came after the signature, and it belongs to the record." */
  | "SIGNATURE_MEANING_ADDENDUM";

/** Signature is a person's signature over exactly what was seen. It is never itself late, and what was signed is kept as signed. */
export interface Signature {
  /** The element's id: a random UUID as text in lower case, made with it and never changed. The engine fills it. */
  id?: string;
  /** What was signed, when, by whom, meaning what, all of which agree. */
  content?: SignedContent;
  /** The sentence that stood over the button. */
  statement?: string;
  /** How the person showed who she is: password, passkey or unlocked_device. */
  proof?: string;
  /** The role in which she signed. */
  role?: Role;
}

/** Session is one visit of a patient (screens say "visit"): what was asked, agreed, planned, given, seen and signed. */
export interface Session {
  /** The record's id: a random UUID as text in lower case, made with it and never changed. The engine fills it. */
  id?: string;
  /** The patient. */
  patient_id?: string;
  /** The clinic where it takes place. */
  clinic_id?: string;
  /** What kind of visit it is. */
  kind?: SessionKind;
  /** The session that a review or a touch-up looks back on; absent in a treatment of its own. */
  parent?: SessionParent;
  /** The day of the visit, by the clinic's calendar. Intervals count from it. */
  on?: Date;
  /** The appointment that it came of; absent when it was not booked. */
  appointment_id?: string;
  /** The order that permits the injections; absent holds before the first needle. */
  order_id?: string;
  /** The staff id of the injector in charge. */
  responsible_id?: string;
  /** The staff id of who supervises; absent when nobody need. */
  supervisor_id?: string;
  /** The versions of core and formulary that it began with and keeps. */
  basis?: SessionBasis;
  /**
   * That it is for practice and nobody was treated, as its patient is; it never mixes with real ones. It repeats the patient's mark, which alone decides:
   * a visit of a real patient that says so all the same is a real one.
   */
  practice?: PracticeMark;
  /** That it was written on the downtime form and entered later; absent when it was charted as it happened. */
  paper?: PaperForm;
  /** Where the session was brought in from, for past treatments of another system; absent when it was charted here. */
  imported?: ImportOrigin;
  /** The states it went through. The one that counts is folded from all of them. */
  states?: SessionState[];
  /** Checks of who the patient is, by two identifiers. */
  identity_checks?: IdentityCheck[];
  /** The check before the first needle. */
  readiness_checks?: ReadinessCheck[];
  /** Answers to the questionnaire. */
  screening?: ScreeningAnswer[];
  /** What was explained and agreed. */
  consents?: Consent[];
  /** What the patient wants and expects. */
  requests?: PatientRequest[];
  /** Distances measured on the face. */
  measurements?: FaceMeasurement[];
  /** Grades before, and at a review after. */
  ratings?: Rating[];
  /** The photographs taken. */
  photos?: SessionPhoto[];
  /** The injections: planned, given, or voided. */
  injections?: Injection[];
  /** The syringes drawn up for it. */
  syringes?: SessionSyringe[];
  /** Interruptions with their times. */
  pauses?: Pause[];
  /** What was measured and seen of the patient, such as a blood pressure in a pause. */
  observations?: Observation[];
  /** What went wrong during the visit. */
  complications?: Complication[];
  /** Holds lifted, and cautions answered. */
  finding_answers?: FindingAnswer[];
  /** Why what was given differs from what was planned. */
  deviations?: Deviation[];
  /** What the plan was made from; absent when from nothing. */
  plan_origin?: PlanOrigin;
  /** That the after-care was explained and the sheet given; absent while it was not. */
  after_care?: AfterCareGiven;
  /** When the result is to be seen; absent while it is not set. */
  review?: ReviewDate;
  /** At a review: the result as clinician and patient see it. */
  outcomes?: Outcome[];
  /** Signatures over exactly what was seen, and addenda. */
  signatures?: Signature[];
  /** That the session does not count, and why. Its vial draws stay. */
  void?: Void;
  /** Remarks. */
  notes?: Note[];
  /** Why conflicts were settled as they were. */
  settlements?: Settlement[];
}

/** SessionParent is the session that this one follows up. */
export interface SessionParent {
  /** That session. */
  session_id?: string;
  /** For a touch-up: why more was given; empty in a review. */
  reason?: string;
}

/** SessionBasis is the versions that a session keeps. A signed answer is never reckoned anew silently. */
export interface SessionBasis {
  /** The formulary's edition. */
  edition?: EditionReference;
  /** The version of the core that reckoned. */
  core_version?: string;
  /** The version of this schema. */
  schema_version?: number;
}

/** PaperForm is that a visit was written on paper first. */
export interface PaperForm {
  /** The number of the form; empty when it has none. */
  form_number?: string;
  /** Who entered it and when. */
  entered?: Act;
  /** The photo record of the form; absent when it was not scanned. */
  scan_photo_id?: string;
}

/** SessionState is one change of a visit's state. */
export interface SessionState {
  /** The element's id: a random UUID as text in lower case, made with it and never changed. The engine fills it. */
  id?: string;
  /** The state, by whom and when. */
  change?: StateChange;
}

/** StateChange is the state that a visit came into. */
export interface StateChange {
  /** The state. */
  step?: SessionStep;
  /** Why, when it was paused, stopped or cancelled; empty otherwise. */
  reason?: string;
  /** Who moved it and when. */
  moved?: Act;
}

/** IdentityCheck is a check of who the patient is. */
export interface IdentityCheck {
  /** The element's id: a random UUID as text in lower case, made with it and never changed. The engine fills it. */
  id?: string;
  /** Which identifiers were asked and matched. */
  check?: IdentifiersChecked;
}

/** IdentifiersChecked is which identifiers matched. Fewer than two hold. */
export interface IdentifiersChecked {
  /** Those that matched, such as full_name, date_of_birth or photograph. */
  identifiers?: string[];
  /** Who checked and when. */
  done?: Act;
}

/** ReadinessCheck is the check before the first needle. */
export interface ReadinessCheck {
  /** The element's id: a random UUID as text in lower case, made with it and never changed. The engine fills it. */
  id?: string;
  /** What was checked. */
  check?: ReadinessAnswers;
}

/** ReadinessAnswers is what was found right before the first needle. An item that is absent was not checked. */
export interface ReadinessAnswers {
  /** The patient is who the record says. */
  identity?: boolean;
  /** The patient's right and left are agreed. */
  sides?: boolean;
  /** Product, lot and expiry read aloud from the vial. */
  product?: boolean;
  /** Consent is signed and stands. */
  consent?: boolean;
  /** The order covers what is planned. */
  order?: boolean;
  /** The skin is clean and without infection. */
  skin?: boolean;
  /** Who checked and when. */
  done?: Act;
  /** The staff id of who checked with her; absent when nobody did. */
  witness_id?: string;
}

/** PatientRequest is what the patient wants. */
export interface PatientRequest {
  /** The element's id: a random UUID as text in lower case, made with it and never changed. The engine fills it. */
  id?: string;
  /** The wish and what was answered. */
  request?: RequestText;
}

/** RequestText is a wish in the patient's words. */
export interface RequestText {
  /** The region that it is about; absent when it is about the whole face. */
  region?: string;
  /** What the patient wants and expects. */
  wish?: string;
  /** What the clinician said can be expected; empty when nothing. */
  answer?: string;
  /** Who wrote it down and when. */
  taken?: Act;
}

/** SessionPhoto says that a photograph belongs to the visit. */
export interface SessionPhoto {
  /** The element's id: a random UUID as text in lower case, made with it and never changed. The engine fills it. */
  id?: string;
  /** The photo's record. */
  photo_id?: string;
  /** That it does not belong here, and why; absent while it does. */
  removed?: Void;
}

/** PlanOrigin is what a plan was made from. */
export interface PlanOrigin {
  /** An earlier session, "as last time"; absent when from a protocol. */
  session_id?: string;
  /** A protocol of the clinic; absent when from a session. */
  protocol_id?: string;
  /** The version of the protocol; empty when from a session. */
  protocol_version?: string;
  /** Who chose it and when. */
  chosen?: Act;
}

/** Pause is an interruption. */
export interface Pause {
  /** The element's id: a random UUID as text in lower case, made with it and never changed. The engine fills it. */
  id?: string;
  /** Why and when it began. */
  began?: PauseBeginning;
  /** Who went on, on whichever tablet, and when; absent while it lasts. */
  ended?: Act;
}

/** PauseBeginning is how an interruption began. */
export interface PauseBeginning {
  /** Why, such as faint, bleeding, pain, wish or equipment. */
  reason?: string;
  /** In words; empty when the reason says it. */
  text?: string;
  /** Who paused and when. */
  began?: Act;
  /** True when the clinic's emergency card was opened. */
  emergency_card?: boolean;
}

/** Observation is something measured or seen of the patient. */
export interface Observation {
  /** The element's id: a random UUID as text in lower case, made with it and never changed. The engine fills it. */
  id?: string;
  /** What and how much. */
  value?: ObservedValue;
}

/** ObservedValue is one observation. */
export interface ObservedValue {
  /** What was observed, such as systolic_pressure, pulse, oxygen_saturation or consciousness. */
  kind?: string;
  /** The value in thousandths of the unit; absent when it is in words. */
  thousandths?: string;
  /** The unit, a code of UCUM; empty when it is in words. */
  unit?: string;
  /** In words; empty when the number says it. */
  text?: string;
  /** Who observed it and when. */
  seen?: Act;
}

/** Complication is what went wrong during the visit. */
export interface Complication {
  /** The element's id: a random UUID as text in lower case, made with it and never changed. The engine fills it. */
  id?: string;
  /** What and what was done. */
  event?: ComplicationEvent;
  /** The adverse-event record that was opened for it; absent when none was. */
  adverse_event_id?: string;
  /** That it was not so, and why; absent while it counts. */
  void?: Void;
}

/** ComplicationEvent is a complication and what was done. */
export interface ComplicationEvent {
  /** What, such as faint, bruise, bleeding, needle_injury or vascular. */
  kind?: string;
  /** The injection that it came with; absent when with none. */
  injection_id?: string;
  /** What was seen and done. */
  text?: string;
  /** Who saw it and when. */
  seen?: Act;
}

/** Deviation is a difference between plan and giving, and why. */
export interface Deviation {
  /** The element's id: a random UUID as text in lower case, made with it and never changed. The engine fills it. */
  id?: string;
  /** About what and why. */
  reason?: DeviationReason;
}

/** DeviationReason is why something differs from the plan. */
export interface DeviationReason {
  /** The injection; absent when it is about the whole plan. */
  injection_id?: string;
  /** Why. */
  reason?: string;
  /** Who gave the reason and when. */
  given?: Act;
}

/** AfterCareGiven is that after-care was explained and given. */
export interface AfterCareGiven {
  /** SHA-256 of the sheet as it was given. */
  sheet_digest?: string;
  /** The language of the sheet, a tag of BCP 47. */
  language?: string;
  /** How it was given, such as paper or mail. */
  way?: string;
  /** The edition that its lines come from; absent when the clinic wrote its own. */
  edition?: EditionReference;
  /** Who explained it and when. */
  given?: Act;
}

/** ReviewDate is when the result is to be seen. */
export interface ReviewDate {
  /** The earliest day. */
  from?: Date;
  /** The last day before the review is overdue. */
  until?: Date;
  /** Who set it and when. */
  set?: Act;
}

/** Outcome is the result of a treatment as it is judged at a review. */
export interface Outcome {
  /** The element's id: a random UUID as text in lower case, made with it and never changed. The engine fills it. */
  id?: string;
  /** By whom, of what, how good. */
  judgement?: OutcomeJudgement;
  /** That it does not count, and why; absent while it does. */
  void?: Void;
}

/** OutcomeJudgement is a result judged. */
export interface OutcomeJudgement {
  /** Who judges. */
  judge?: Judge;
  /** The region; absent when it is the whole face. */
  region?: string;
  /** The side; absent when it is both. */
  side?: Side;
  /** The response, such as too_little, as_wanted, too_much or spread; absent when only a grade was given. */
  response?: string;
  /** Satisfaction, 0 none to 1000 full; absent when not asked. */
  satisfaction_permille?: number;
  /** True when more is wanted, false when not; absent when not asked. */
  more_wanted?: boolean;
  /** In words; empty when nothing. */
  text?: string;
  /** Who recorded it and when. */
  taken?: Act;
}

/** SessionKind is what kind of visit it is. */
export type SessionKind =
  /** Not stated; rejected on write. */
  | "SESSION_KIND_UNSPECIFIED"
  /** Talk and examination, nothing injected. */
  | "SESSION_KIND_CONSULTATION"
  /** A treatment of its own. */
  | "SESSION_KIND_TREATMENT"
  /** More given after a review; it belongs to its parent. */
  | "SESSION_KIND_TOUCH_UP"
  /** A look at the result, nothing injected. */
  | "SESSION_KIND_REVIEW";

/** SessionStep is a state of a visit. */
export type SessionStep =
  /** Not stated; rejected on write. */
  | "SESSION_STEP_UNSPECIFIED"
  /** Begun: talk, questions, consent, plan. */
  | "SESSION_STEP_OPEN"
  /** Checked: the first needle may go in. */
  | "SESSION_STEP_READY"
  /** Injections are being given. */
  | "SESSION_STEP_IN_TREATMENT"
  /** Interrupted. */
  | "SESSION_STEP_PAUSED"
  /** Ended before all that was planned was given. */
  | "SESSION_STEP_STOPPED_EARLY"
  /** All is given and the patient may go. */
  | "SESSION_STEP_FINISHED"
  /** Nothing was given and nothing will be. */
  | "SESSION_STEP_CANCELLED";

/** Judge is who judges a result. */
export type Judge =
  /** Not stated; rejected on write. */
  | "JUDGE_UNSPECIFIED"
  /** The clinician. */
  | "JUDGE_CLINICIAN"
  /** The patient. */
  | "JUDGE_PATIENT";

/** Draw is the content of one syringe drawn from a vial. Its amount is what left the vial, dead space and priming included. */
export interface Draw {
  /** The element's id: a random UUID as text in lower case, made with it and never changed. The engine fills it. */
  id?: string;
  /** From which preparation, for which session, how much. */
  amount?: DrawAmount;
  /** Who drew it and when. */
  drawn?: Act;
  /** Who checked it and when; absent when nobody did. */
  checked?: Act;
  /** That it was not drawn, and why; absent while it counts. */
  void?: Void;
}

/** DrawAmount is an amount drawn. Volume, units and preparation agree. */
export interface DrawAmount {
  /** The session it is for. */
  session_id?: string;
  /** The preparation, an element of the vial; absent for a ready liquid. */
  preparation_id?: string;
  /** The syringe, an element of the session; absent when it was not told apart. */
  syringe_id?: string;
  /** The volume that left the vial, in nanolitres. */
  volume_nanoliters?: string;
  /** The units in it, in thousandths, reckoned from the preparation and rounded half-even. */
  dose_milliunits?: number;
  /** The type of syringe of the formulary; absent when it was not said. */
  syringe_code?: string;
}

/** Preparation is a vial with its diluent added. Concentration is never stored: it is content over diluent, exactly. */
export interface Preparation {
  /** The element's id: a random UUID as text in lower case, made with it and never changed. The engine fills it. */
  id?: string;
  /** What was added and how much, which agree. */
  diluent?: Diluent;
  /** Who mixed it and when. */
  mixed?: Act;
  /** Who checked it and when; absent when nobody did. */
  checked?: Act;
  /** How it looked; absent when it was not looked at. */
  clarity?: Clarity;
  /** Until when it may be used and by what rule; absent means discard after this session. */
  use_by?: UseBy;
  /** That it was not so, and why; absent while it counts. */
  void?: Void;
}

/** Diluent is a diluent with its volume. */
export interface Diluent {
  /** The kind of diluent, such as sodium_chloride_0_9_preservative_free. */
  kind?: string;
  /** The volume added, in nanolitres. */
  volume_nanoliters?: string;
  /** The diluent's batch number; empty when it was not written down. */
  lot_number?: string;
  /** The record of the diluent's lot; absent when none is known. */
  lot_id?: string;
  /** The diluent's expiry; absent when it was not written down. */
  expires_on?: Date;
  /** What else was added, in words; empty when nothing. */
  additive?: string;
  /** The dilution of the formulary that was followed; absent when none. */
  advice_code?: string;
}

/** Clarity is how a solution looked. */
export interface Clarity {
  /** How. */
  finding?: ClarityFinding;
  /** Who looked and when. */
  seen?: Act;
}

/** UseBy is until when a preparation may be used. */
export interface UseBy {
  /** The last moment of use, by the clock of the device that mixed. */
  until?: string;
  /** The entry of the formulary that it follows; absent when the lead set the time. */
  rule_code?: string;
  /** The edition that holds the rule; absent when the lead set the time. */
  edition?: EditionReference;
  /** Who set it and when. */
  set?: Act;
}

/** ClarityFinding is how a solution looked. */
export type ClarityFinding =
  /** Not stated; rejected on write. */
  | "CLARITY_FINDING_UNSPECIFIED"
  /** Clear and without particles. */
  | "CLARITY_FINDING_CLEAR"
  /** Cloudy or coloured: not to be used. */
  | "CLARITY_FINDING_CLOUDY"
  /** With particles: not to be used. */
  | "CLARITY_FINDING_PARTICLES";

/**
 * Vial is one physical vial. What was drawn from it lives in it, so that no tablet's scope hides a draw; its content left is folded from its
 * elements.
 */
export interface Vial {
  /** The record's id: a random UUID as text in lower case, made with it and never changed. The engine fills it. */
  id?: string;
  /** What it is: product, content and the edition's entry. */
  presentation?: VialPresentation;
  /** What its pack says: lot, expiry, serial, item number. */
  labelling?: VialLabelling;
  /** The number written on the vial by hand where the pack has no serial; absent otherwise. */
  short_number?: string;
  /** The clinic that has it now. */
  clinic_id?: string;
  /** That it is for practice and holds no drug; absent for real vials. */
  practice?: PracticeMark;
  /** How it came in; absent when it was first seen in use. */
  receipt?: VialReceipt;
  /** Where it was kept, each change. */
  storage_moves?: StorageMove[];
  /** Readings of where it was kept. */
  temperatures?: TemperatureReading[];
  /** The diluent added to it. More than one is a finding. */
  preparations?: Preparation[];
  /** What was drawn from it, each syringe. */
  draws?: Draw[];
  /** Every piercing of its stopper. */
  entries?: VialEntry[];
  /** What was thrown away. */
  wastes?: Waste[];
  /** Moves to another clinic. */
  transfers?: Transfer[];
  /** Records that are of the same physical vial. */
  same_vials?: SameVialLink[];
  /** That it is used up or gone; absent while it may be drawn from. */
  discarded?: Discard;
  /** That it must not be used, and why: kept too warm, broken, doubtful. Absent while it may. */
  blocked?: Block;
  /** That the record was made by mistake, and why; absent while it counts. */
  void?: Void;
  /** Remarks. */
  notes?: Note[];
  /** Why conflicts were settled as they were. */
  settlements?: Settlement[];
}

/** VialPresentation is what a vial holds. Product and content agree. */
export interface VialPresentation {
  /** The product. */
  product?: string;
  /** Its content, in thousandths of a unit of the product. */
  content_milliunits?: number;
  /** The volume of a ready liquid, in nanolitres; absent for a powder. */
  liquid_nanoliters?: string;
  /** The entry of the formulary; absent when it has none. */
  presentation_code?: string;
}

/** VialLabelling is what a pack says. Its parts agree: they are read in one scan or from one label. */
export interface VialLabelling {
  /** The batch number as printed. */
  lot_number?: string;
  /** The lot's record; absent when none was known on the device that scanned. */
  lot_id?: string;
  /** The last day of use. A barcode whose day is 00 means the last day of its month. */
  expires_on?: Date;
  /** The serial number; empty when the pack has none. */
  serial?: string;
  /** The global trade item number; empty when the pack has none. */
  gtin?: string;
  /** The barcode as it was read, group separators (1D in hexadecimal) included; empty when typed by hand. */
  element_string?: string;
  /** How it was read. */
  reading?: LabelReading;
  /** Who read it and when. */
  read?: Act;
}

/** VialReceipt is how a vial came in. */
export interface VialReceipt {
  /** Who took it in and when. */
  received?: Act;
  /** From whom; empty when it is not known. */
  supplier?: string;
  /** The number of the delivery note; empty when there is none. */
  delivery_note?: string;
  /** True when the cold chain held on arrival, false when not; absent when it was not checked. */
  arrived_cold?: boolean;
}

/** StorageMove is a change of where a vial is kept. */
export interface StorageMove {
  /** The element's id: a random UUID as text in lower case, made with it and never changed. The engine fills it. */
  id?: string;
  /** Where to and who did it. */
  move?: StoragePlace;
}

/** StoragePlace is where a vial was put. */
export interface StoragePlace {
  /** The place, such as the fridge's name. */
  place?: string;
  /** Who put it there and when. */
  moved?: Act;
}

/** TemperatureReading is a temperature of where a vial is kept. */
export interface TemperatureReading {
  /** The element's id: a random UUID as text in lower case, made with it and never changed. The engine fills it. */
  id?: string;
  /** The reading. */
  reading?: Temperature;
}

/** Temperature is a reading of a thermometer. */
export interface Temperature {
  /** The temperature, in thousandths of a degree Celsius. */
  millicelsius?: number;
  /** The lowest since the reading before; absent when the thermometer keeps none. */
  lowest_millicelsius?: number;
  /** The highest since the reading before; absent when the thermometer keeps none. */
  highest_millicelsius?: number;
  /** The place read. */
  place?: string;
  /** Who read it and when. */
  read?: Act;
}

/** VialEntry is one piercing of the stopper. */
export interface VialEntry {
  /** The element's id: a random UUID as text in lower case, made with it and never changed. The engine fills it. */
  id?: string;
  /** For whom and how. */
  piercing?: Piercing;
  /** That it did not happen, and why; absent while it counts. */
  void?: Void;
}

/** Piercing is how a stopper was pierced. All patients of a vial are found by it for look-back. */
export interface Piercing {
  /** The session it was for; absent for mixing. */
  session_id?: string;
  /** True when needle and syringe were new and sterile. */
  sterile?: boolean;
  /** Who did it and when. */
  done?: Act;
}

/** Waste is what was thrown away of a vial or a syringe. */
export interface Waste {
  /** The element's id: a random UUID as text in lower case, made with it and never changed. The engine fills it. */
  id?: string;
  /** How much, why and before whom. */
  amount?: WasteAmount;
  /** That it was not so, and why; absent while it counts. */
  void?: Void;
}

/** WasteAmount is an amount thrown away. */
export interface WasteAmount {
  /** How much, in nanolitres; absent when unknown. */
  volume_nanoliters?: string;
  /** How many thousandths of a unit that held; absent when unknown. */
  dose_milliunits?: number;
  /** Why. */
  reason?: string;
  /** The staff id of who watched; absent when nobody did, which is a finding where the clinic asks for one. */
  witness_id?: string;
  /** Who did it and when. */
  done?: Act;
}

/** Transfer is a move to another clinic. */
export interface Transfer {
  /** The element's id: a random UUID as text in lower case, made with it and never changed. The engine fills it. */
  id?: string;
  /** From where to where. */
  sent?: TransferSending;
  /** Who received it and when; absent while it is on the way. */
  arrived?: Act;
  /** That it did not happen, and why; absent while it counts. */
  void?: Void;
}

/** TransferSending is how a vial was sent. */
export interface TransferSending {
  /** The clinic that sends. */
  from_clinic_id?: string;
  /** The clinic that receives. */
  to_clinic_id?: string;
  /** True when it travelled cold, false when not; absent when it is not known. */
  kept_cold?: boolean;
  /** Who sent it and when. */
  sent?: Act;
}

/** SameVialLink says that another record is of the same physical vial. Its draws count with this one's. It is reversible. */
export interface SameVialLink {
  /** The element's id: a random UUID as text in lower case, made with it and never changed. The engine fills it. */
  id?: string;
  /** Which record and why. */
  claim?: SameVialClaim;
  /** That they are two vials after all, and why; absent while the link holds. */
  undone?: Void;
}

/** SameVialClaim is which record is of the same vial. */
export interface SameVialClaim {
  /** The other vial's record. */
  vial_id?: string;
  /** Why. */
  reason?: string;
  /** Who said so and when. */
  made?: Act;
}

/** Discard is how a vial ended. */
export interface Discard {
  /** How. */
  cause?: DiscardCause;
  /** What was left, in nanolitres; absent when unknown or a dry vial. */
  left_nanoliters?: string;
  /** The staff id of who watched; absent when nobody did. */
  witness_id?: string;
  /** Who did it and when. */
  done?: Act;
}

/** Block is that a vial must not be used. */
export interface Block {
  /** Why. */
  reason?: string;
  /** Who says so and when. */
  set?: Act;
}

/** LabelReading is how a pack's label was read. */
export type LabelReading =
  /** Not stated; rejected on write. */
  | "LABEL_READING_UNSPECIFIED"
  /** From its barcode, a GS1 element string. */
  | "LABEL_READING_GS1"
  /** Typed by hand. */
  | "LABEL_READING_HAND";

/** DiscardCause is how a vial ended. */
export type DiscardCause =
  /** Not stated; rejected on write. */
  | "DISCARD_CAUSE_UNSPECIFIED"
  /** Nothing is left. */
  | "DISCARD_CAUSE_EMPTY"
  /** Thrown away with something left. */
  | "DISCARD_CAUSE_LEFTOVER"
  /** Its use-by time passed. */
  | "DISCARD_CAUSE_PAST_USE_BY"
  /** Its lot was recalled. */
  | "DISCARD_CAUSE_RECALLED"
  /** Sent back to the supplier. */
  | "DISCARD_CAUSE_RETURNED"
  /** Broken, stolen or not found. */
  | "DISCARD_CAUSE_LOST";

/** Write is what an edit does to the registers of the record itself or of one element of it. */
export interface Write {
  /** Where: empty for the record itself, else the way to one element, as docs/format.md defines (field number and element id, repeated). */
  path?: string;
  /** The new values: the registers written, in ascending field number, each in canonical protobuf form with its tag. */
  set?: string;
  /** The numbers of the registers that are cleared, ascending. A cleared register is empty on purpose. */
  clear?: number[];
}

/**
 * Edit is one author's change to one record. Inside a Page, replica, counter and the hash chain are implied by the page, and replicas and
 * authors are indexes into the page's tables.
 */
export interface Edit {
  /** UUIDv7 made and stored before first use; it names this edit for ever, whatever dot it gets. */
  edit_id?: string;
  /** The kind of the record that is edited. */
  kind?: RecordKind;
  /** The record's id, a UUID as 16 bytes. */
  record_id?: string;
  /** The version vector returned by the read that was edited from, as pairs: index of a replica in the table, counter. Ascending by replica id. */
  context?: string[];
  /** Index of the author (a staff id) in the table. */
  author?: number;
  /** The device's claim of when it was made, milliseconds since 1970 UTC. For people to read; it orders nothing. */
  authored_at_unix_ms?: string;
  /** What is written, ascending by path, each path once. */
  writes?: Write[];
}

/** Page is a run of edits of one replica with contiguous counters, signed once by its device over the head of the hash chain. */
export interface Page {
  /** The counter of the first edit; the others follow without a gap. */
  first_counter?: string;
  /** The chain hash before the first edit: 32 bytes, zeros before counter 1. */
  previous?: string;
  /** The replicas that contexts refer to, each 16 bytes, each once. */
  replicas?: string[];
  /** The authors that edits refer to, each a staff id of 16 bytes, each once. */
  authors?: string[];
  /** The edits, in order of their counters. */
  edits?: Edit[];
  /** ECDSA P-256 over SHA-256 of the page's statement (replica, counters, head), r and s as 32 bytes each. */
  signature?: string;
}

/** HeldStatus says what became of a held edit. */
export type HeldStatus =
  /** Never sent. */
  | "HELD_STATUS_UNSPECIFIED"
  /** Waits for edits that its context names; applied by itself when they arrive. */
  | "HELD_STATUS_WAITING"
  /** Refused with a reason; a person releases it or gives it up. */
  | "HELD_STATUS_HELD"
  /** Released: its writes were made again under a new dot. */
  | "HELD_STATUS_RELEASED"
  /** Given up by a person, with a reason. It stays in the ledger. */
  | "HELD_STATUS_GIVEN_UP"
  /** It had waited; what it waited for came, and it took effect under its own dot. */
  | "HELD_STATUS_APPLIED";

/** Record is one record of any kind. */
export interface Record {
  /** A patient. */
  patient?: Patient;
  /** An appointment. */
  appointment?: Appointment;
  /** An order. */
  order?: Order;
  /** A session. */
  session?: Session;
  /** A vial. */
  vial?: Vial;
  /** A photo's description. */
  photo?: Photo;
  /** A consent text. */
  consent_text?: ConsentText;
  /** A questionnaire. */
  questionnaire?: Questionnaire;
  /** An edition of the formulary. */
  formulary_edition?: FormularyEdition;
  /** A protocol. */
  protocol?: Protocol;
  /** A clinic. */
  clinic?: Clinic;
  /** A person of the staff. */
  staff?: Staff;
  /** A device. */
  device?: Device;
  /** A lot. */
  lot?: Lot;
  /** An adverse event. */
  adverse_event?: AdverseEvent;
  /** A day's close. */
  day_close?: DayClose;
}

/** RecordKey names a record. */
export interface RecordKey {
  /** Its kind. */
  kind?: RecordKind;
  /** Its id. */
  record_id?: string;
}

/**
 * RecordView is a record as a reader sees it: its current values, what was seen to get there, and what needs a person. A field in
 * conflict is left out of the record, and conflicts shows all of its values; a reader that reckons takes them into account. What only a merge can see
 * of it, FindingService of needlebook.dose.v1 says.
 */
export interface RecordView {
  /** The record. */
  record?: Record;
  /** What was seen, to be handed back with an edit. Opaque; at most 65536 bytes. */
  context?: string;
  /** The fields with more than one current value, by path. */
  conflicts?: Conflict[];
  /** The edits of this record that wait for a person, oldest first. */
  held_edits?: HeldRecordEdit[];
  /** What changed after the newest signature that covers it, and is to be countersigned. */
  late_entries?: ChartLateEntry[];
  /** The record's digest, 32 bytes: equal on every replica that holds the same edits. */
  digest?: string;
}

/** Dot names one edit by the replica that made it and its place among that replica's edits. */
export interface Dot {
  /** The replica. */
  replica_id?: string;
  /** The counter, from 1 without gaps. */
  counter?: string;
}

/** Authorship is who made an edit, where and when by the device's claim. */
export interface Authorship {
  /** The edit. */
  dot?: Dot;
  /** Its id, which it keeps whatever dot it has. */
  edit_id?: string;
  /** The author. */
  staff_id?: string;
  /** The author's name, as it is now. */
  staff_name?: string;
  /** The device; empty when the server made it. */
  device_id?: string;
  /** The device's label, as it is now. */
  device_label?: string;
  /** The device's claim of when. It orders nothing. */
  authored_at?: string;
}

/** Sibling is one of the concurrent values of a field. */
export interface Sibling {
  /** The edits that wrote this value, more than one when several wrote the same. */
  authors?: Authorship[];
  /** True when the value is that the field is empty on purpose. */
  cleared?: boolean;
  /** The value as JSON, in the form that the field has in the record; empty when cleared. */
  value_json?: string;
}

/** Conflict is a field with more than one current value. It stands until somebody settles it with an edit that saw all of them. */
export interface Conflict {
  /** The record. */
  key?: RecordKey;
  /** The field, as paths of EditRecord name it. */
  path?: string;
  /** The values, in the order of their dots. */
  siblings?: Sibling[];
  /** What was seen, to be handed back when settling. Opaque. */
  context?: string;
}

/** HeldRecordEdit is an edit that did not take effect. */
export interface HeldRecordEdit {
  /** The record. */
  key?: RecordKey;
  /** Who made it. */
  authorship?: Authorship;
  /** What became of it. */
  status?: HeldStatus;
  /** Why it is held. */
  reason?: Reason;
  /** A sentence for a person: what was read and what would be right. */
  detail?: string;
  /** What it would have written. */
  writes?: PathValue[];
  /** Of these, the paths that were rewritten since by an edit that had seen it; a release leaves them out unless they are taken. */
  rewritten_paths?: string[];
  /** True when the rest of the edit took effect. */
  partial?: boolean;
}

/** PathValue is a field with a value. */
export interface PathValue {
  /** The field, as paths of EditRecord name it. */
  path?: string;
  /** True when it is emptied on purpose. */
  cleared?: boolean;
  /** The value as JSON, in the form that the field has in the record; empty when cleared. */
  value_json?: string;
}

/** LateEntry is an edit outside what a signature covers. */
export interface ChartLateEntry {
  /** The newest signature, an element of the record. */
  signature_id?: string;
  /** Who made the edit. */
  authorship?: Authorship;
  /** What it wrote. */
  writes?: PathValue[];
}

/** HistoryEntry is one edit of a record. */
export interface HistoryEntry {
  /** Who made it. */
  authorship?: Authorship;
  /** When the server took it, by the server's clock. */
  received_at?: string;
  /** Its place in the server's ledger. */
  sequence?: string;
  /** What it wrote. */
  writes?: PathValue[];
  /** What became of it if it was held; unspecified when it took effect. */
  status?: HeldStatus;
}

/** PatientSummary is a line of a list of patients: what the safety index holds. */
export interface PatientSummary {
  /** The patient. */
  patient_id?: string;
  /** The name. */
  name?: PersonName;
  /** The date of birth; absent when unknown. */
  birth?: BirthDate;
  /** The clinic that the patient belongs to; empty when none. */
  home_clinic_id?: string;
  /** The alerts that hold. */
  alerts?: AlertContent[];
  /** The last treatment of each product. */
  last_treatments?: ChartLastTreatment[];
  /** The other records of the same person. */
  linked_patient_ids?: string[];
  /** True when the patient belongs to a clinic of the caller; otherwise opening the record wants a reason. */
  own_clinic?: boolean;
}

/** LastTreatment is the last treatment with a product. */
export interface ChartLastTreatment {
  /** The product. */
  product?: string;
  /** The day. */
  on?: Date;
  /** The clinic; empty when it was elsewhere. */
  clinic_id?: string;
}

/** SearchPatientsRequest says whom to find. Conditions are joined by and; at least one is needed. */
export interface SearchPatientsRequest {
  /** Part of a name in any script, with or without diacritics; empty for no condition. */
  text?: string;
  /** The date of birth; absent for no condition. */
  born_on?: Date;
  /** A number that names the person, whole; empty for no condition. */
  identifier?: string;
  /** Only patients of this clinic; absent for the whole organisation. */
  clinic_id?: string;
  /** The most to answer; 0 means 20. */
  page_size?: number;
  /** The next_page_token of the answer before; empty for the first page. */
  page_token?: string;
}

/** SearchPatientsResponse is a page of patients. */
export interface SearchPatientsResponse {
  /** The patients, best match first. */
  patients?: PatientSummary[];
  /** Asks for the next page; empty means no more pages. */
  next_page_token?: string;
}

/** GetPatientRequest names a patient. */
export interface GetPatientRequest {
  /** The patient. */
  patient_id?: string;
}

/** GetPatientResponse is a patient's record. */
export interface GetPatientResponse {
  /** The record; it holds a patient. */
  view?: RecordView;
}

/** GetSessionRequest names a session. */
export interface GetSessionRequest {
  /** The session. */
  session_id?: string;
}

/** GetSessionResponse is a session's record. */
export interface GetSessionResponse {
  /** The record; it holds a session. */
  view?: RecordView;
}

/** ListSessionsRequest says which sessions. Conditions are joined by and. */
export interface ListSessionsRequest {
  /** Only this patient's, those of linked records included; absent for any. */
  patient_id?: string;
  /** Only at this clinic; absent for any. */
  clinic_id?: string;
  /** Only with this injector in charge; absent for any. */
  responsible_id?: string;
  /** Only on or after this day; absent for any. */
  from?: Date;
  /** Only on or before this day; absent for any. */
  until?: Date;
  /** Only those that nobody signed yet. */
  unsigned_only?: boolean;
  /** The most to answer; 0 means 50. */
  page_size?: number;
  /** The next_page_token of the answer before; empty for the first page. */
  page_token?: string;
}

/** ListSessionsResponse is a page of sessions. */
export interface ListSessionsResponse {
  /** The sessions, newest day first. */
  views?: RecordView[];
  /** Asks for the next page; empty means no more pages. */
  next_page_token?: string;
}

/** GetRecordRequest names a record. */
export interface GetRecordRequest {
  /** The record. */
  key?: RecordKey;
}

/** GetRecordResponse is a record. */
export interface GetRecordResponse {
  /** The record. */
  view?: RecordView;
}

/** ListRecordsRequest says which records. */
export interface ListRecordsRequest {
  /** The kind. Patients and sessions have lists of their own and are refused here. */
  kind?: RecordKind;
  /** Only those of this clinic; absent for any. */
  clinic_id?: string;
  /** Only those of this patient; absent for any. */
  patient_id?: string;
  /** The most to answer; 0 means 50. */
  page_size?: number;
  /** The next_page_token of the answer before; empty for the first page. */
  page_token?: string;
  /** Only those of this day, by the clinic's calendar: appointments and day closes; absent for any. Refused for kinds without a day. */
  on?: Date;
}

/** ListRecordsResponse is a page of records. */
export interface ListRecordsResponse {
  /** The records, by id. */
  views?: RecordView[];
  /** Asks for the next page; empty means no more pages. */
  next_page_token?: string;
}

/** GetRecordHistoryRequest names a record. */
export interface GetRecordHistoryRequest {
  /** The record. */
  key?: RecordKey;
  /** Only what wrote this field or what is in this element; empty for the whole record. */
  path?: string;
  /** The most to answer; 0 means 100. */
  page_size?: number;
  /** The next_page_token of the answer before; empty for the first page. */
  page_token?: string;
}

/** GetRecordHistoryResponse is a page of edits. */
export interface GetRecordHistoryResponse {
  /** The edits, newest first. */
  entries?: HistoryEntry[];
  /** Asks for the next page; empty means no more pages. */
  next_page_token?: string;
}

/**
 * EditRecordRequest is a change of one record. A path of the mask names one register, such as order_id or
 * injections[0b9d6f5e-4c1a-4f0e-9a55-0c7be4d1a001].planned, or a whole element, such as injections[0b9d6f5e-4c1a-4f0e-9a55-0c7be4d1a001], which
 * writes all that the message holds of it, elements within it included, and clears nothing. No path enters a register. A register that the mask
 * names and the message lacks is cleared. Nothing outside the mask is read.
 */
export interface EditRecordRequest {
  /** The client's id of this request: the same id with the same content has the effect of one call, and with other content is refused. */
  request_id?: string;
  /** The record's id, and the new values where the mask says. */
  record?: Record;
  /** The paths to write, each once. */
  update_mask?: string[];
  /**
   * The context of the view that was edited from. Empty for a new record; with one that exists, empty means that nothing was seen, and conflicts
   * follow.
   */
  context?: string;
}

/** EditRecordResponse is the record as changed. */
export interface EditRecordResponse {
  /** The record after the edit. */
  view?: RecordView;
  /** The edit that was made. */
  edit?: Authorship;
  /** True when the same request came before and nothing was done again. */
  already_applied?: boolean;
}

/** ListConflictsRequest says which conflicts. Conditions are joined by and. */
export interface ListConflictsRequest {
  /** Only those of this record; absent for any. */
  key?: RecordKey;
  /** Only those of this patient's records; absent for any. */
  patient_id?: string;
  /** Only those of this clinic's records; absent for any. */
  clinic_id?: string;
  /** The most to answer; 0 means 100. */
  page_size?: number;
  /** The next_page_token of the answer before; empty for the first page. */
  page_token?: string;
}

/** ListConflictsResponse is a page of conflicts. */
export interface ListConflictsResponse {
  /** The conflicts, by record and path. */
  conflicts?: Conflict[];
  /** Asks for the next page; empty means no more pages. */
  next_page_token?: string;
}

/** SettleConflictRequest chooses one value of a field. */
export interface SettleConflictRequest {
  /** The client's id of this request: the same id with the same content has the effect of one call. */
  request_id?: string;
  /** The record. */
  key?: RecordKey;
  /** The field, as paths of EditRecord name it. */
  path?: string;
  /** The context of the conflict that was read. A value that came since stays beside the new one. */
  context?: string;
  /** Why; it is kept with the record. */
  reason?: string;
  /** The value that this edit wrote. */
  keep?: Dot;
  /** Another value as JSON, in the form that the field has in the record. */
  value_json?: string;
  /** True: empty on purpose. */
  clear?: boolean;
}

/** SettleConflictResponse is the record as settled. */
export interface SettleConflictResponse {
  /** The record after the edit. */
  view?: RecordView;
  /** The edit that was made. */
  edit?: Authorship;
  /** True when the same request came before and nothing was done again. */
  already_applied?: boolean;
}

/** SignSessionRequest signs a session. */
export interface SignSessionRequest {
  /** The client's id of this request: the same id with the same content has the effect of one call. */
  request_id?: string;
  /** The session. */
  session_id?: string;
  /** The context of the view that was on the screen. */
  context?: string;
  /** The digest of that view. */
  digest?: string;
  /** What the signature says. */
  meaning?: SignatureMeaning;
  /** The sentence that stood over the button. */
  statement?: string;
  /** The signer's password, given again; empty where the policy is content with the sign-in. */
  password?: string;
}

/** SignSessionResponse is the session as signed. */
export interface SignSessionResponse {
  /** The session after the signature. */
  view?: RecordView;
  /** The signature. */
  signature?: Signature;
  /** True when the same request came before and nothing was done again. */
  already_applied?: boolean;
}

/** ListHeldEditsRequest says which held edits. Conditions are joined by and. */
export interface ListHeldEditsRequest {
  /** Only those of this clinic's records; absent for any. */
  clinic_id?: string;
  /** Only those from this device; absent for any. */
  device_id?: string;
  /** Also those that were released or given up. */
  include_judged?: boolean;
  /** The most to answer; 0 means 100. */
  page_size?: number;
  /** The next_page_token of the answer before; empty for the first page. */
  page_token?: string;
}

/** ListHeldEditsResponse is a page of held edits. */
export interface ListHeldEditsResponse {
  /** The edits, oldest first. */
  held_edits?: HeldRecordEdit[];
  /** Asks for the next page; empty means no more pages. */
  next_page_token?: string;
}

/** ReleaseHeldEditRequest releases a held edit. */
export interface ReleaseHeldEditRequest {
  /** The client's id of this request: the same id with the same content has the effect of one call. */
  request_id?: string;
  /** The held edit. */
  dot?: Dot;
  /** Of the paths that were rewritten since, those to write all the same. */
  take_paths?: string[];
  /** Why; it is kept. */
  reason?: string;
}

/** ReleaseHeldEditResponse is the record after the release. */
export interface ReleaseHeldEditResponse {
  /** The record. */
  view?: RecordView;
  /** The new edit. */
  edit?: Authorship;
}

/** GiveUpHeldEditRequest gives a held edit up. */
export interface GiveUpHeldEditRequest {
  /** The client's id of this request: the same id with the same content has the effect of one call. */
  request_id?: string;
  /** The held edit. */
  dot?: Dot;
  /** Why; it is kept. */
  reason?: string;
}

/** GiveUpHeldEditResponse is what became of it. */
export interface GiveUpHeldEditResponse {
  /** The edit as judged. */
  held_edit?: HeldRecordEdit;
}

/** EditionUsed is the formulary that an answer rests on. */
export interface EditionUsed {
  /** The edition's version. */
  version?: string;
  /** SHA-256 of its canonical content, in hexadecimal. */
  hash?: string;
  /** The edition's record; empty for the built-in one. */
  edition_id?: string;
  /** The version of the core that reckoned. */
  core_version?: string;
}

/** FormularyChoice is which tables to reckon with. */
export interface FormularyChoice {
  /** The edition; absent means the caller's clinic's, or the built-in one where there is none. */
  edition_id?: string;
  /** Whose labels count, such as US or EU; empty means every market's, each named. */
  market?: string;
}

/** Finding is what a guardrail says. It is computed, never stored; the answers that people give to it are. */
export interface Finding {
  /** Its stable code in capitals, such as DOSE_ABOVE_RANGE. */
  code?: string;
  /** How strongly it speaks. */
  level?: Level;
  /** What it is about: refs of the request, or paths as EditRecord names them. */
  about?: string[];
  /** The sentence that a person reads. */
  text?: string;
  /** The figures that it rests on, by name with the unit last, as decimals. */
  figures?: FindingFiguresEntry;
  /** Where the rule comes from; absent when it follows from the request alone. */
  source?: Citation;
  /** SHA-256 in hexadecimal of its code and subject, equal on every replica; empty when it is about no record. */
  finding_id?: string;
  /** The roles that may lift it, for a hold; empty means nobody may. */
  liftable_by?: Role[];
  /** The answer that stands, when the session holds one; absent otherwise. */
  answer?: FindingDecision;
}

export type FindingFiguresEntry = { [key: string]: string };

/** Citation is where a figure or a rule comes from. */
export interface Citation {
  /** How the figure was come by. */
  obtained?: Obtained;
  /** The section, table or page; empty when it is not known. */
  section?: string;
  /** What a reader should know; empty when nothing. */
  remark?: string;
  /** The publications; empty for common practice, memory and the lead's own figures. */
  sources?: CitedSource[];
}

/** CitedSource is a publication. */
export interface CitedSource {
  /** Its code in the formulary. */
  code?: string;
  /** Its title. */
  title?: string;
  /** Who issued it. */
  issuer?: string;
  /** The year as printed. */
  year?: string;
  /** Where it can be read; empty when it is not online. */
  address?: string;
}

/** VialContent is what a vial holds and what is added to it, which together are its concentration. */
export interface VialContent {
  /** The content, in units of the product. */
  content_units?: string;
  /** The diluent added, in millilitres; absent for a ready liquid. */
  diluent_ml?: string;
  /** The volume of a ready liquid, in millilitres; absent for a powder. */
  liquid_ml?: string;
  /** The kind of diluent; absent when it does not matter to the caller. */
  diluent?: string;
}

/** SyringeType is a syringe as it is reckoned with. */
export interface SyringeType {
  /** The nominal capacity, in millilitres. */
  capacity_ml?: string;
  /** The smallest step that is read on it, in millilitres. */
  graduation_ml?: string;
  /** True when its scale counts hundredths of a millilitre as insulin units; marks are then also shown as "mark 13 (0.13 mL)", never as units. */
  insulin_scale?: boolean;
  /** What stays in syringe and needle when the plunger is home, in millilitres; absent means it is not known and not counted. */
  dead_space_ml?: string;
  /** Its entry of the formulary; absent when it has none. */
  code?: string;
}

/** PlannedDose is one injection to be drawn up for. */
export interface PlannedDose {
  /** The caller's name for it, unique in the request; answers and findings use it. */
  ref?: string;
  /** The dose, in units of the product of the request. */
  dose_units?: string;
  /** The side, the patient's own; absent counts as a side of its own. */
  side?: Side;
  /** The muscle, so that both sides of one are kept in one syringe where they fit; absent when it does not matter. */
  muscle?: string;
}

/** Concentration is content over volume, exactly. */
export interface Concentration {
  /** Units in 1 mL. */
  units_per_ml?: string;
  /** The exact value as a reduced fraction; absent when the decimal is exact. */
  units_per_ml_fraction?: string;
  /** Units in 0.1 mL. */
  units_per_tenth_ml?: string;
  /** The exact value as a reduced fraction; absent when the decimal is exact. */
  units_per_tenth_ml_fraction?: string;
}

/** DoseVolume is a dose with the volume that holds it. */
export interface DoseVolume {
  /** The dose, in units. */
  dose_units?: string;
  /** The volume, in millilitres. */
  volume_ml?: string;
  /** The exact volume as a reduced fraction; absent when the decimal is exact. */
  volume_ml_fraction?: string;
}

/** PrepareRequest is a vial to be mixed. */
export interface PrepareRequest {
  /** The product. */
  product?: string;
  /** The vial and its diluent. */
  vial?: VialContent;
  /** The smallest step of the syringe to be used, in millilitres; absent means 0.01. */
  graduation_ml?: string;
  /** When it is or was mixed, by the caller's clock; absent means no use-by time is reckoned, only its rule. */
  mixed_at?: string;
  /** Which tables to use; absent means the default. */
  formulary?: FormularyChoice;
  /** The use that labels must be for; absent means aesthetic. */
  use?: string;
}

/** PrepareResponse is a preparation. */
export interface PrepareResponse {
  /** Its concentration. */
  concentration?: Concentration;
  /** Units in one graduation. */
  units_per_graduation?: string;
  /** The exact value as a reduced fraction; absent when the decimal is exact. */
  units_per_graduation_fraction?: string;
  /** True when this is a dilution that the product's label states for this use. */
  labelled?: boolean;
  /** What labels and the lead say of this dilution. */
  statements?: LabelledStrength[];
  /** Until when it may be used; absent when it was not asked or no figure is known, which means discard after this session. */
  use_by?: string;
  /** The rules for use after mixing. */
  use_by_rules?: UseByStatement[];
  /** What the guardrails say. */
  findings?: Finding[];
  /** The formulary used. */
  edition?: EditionUsed;
  /** The caution that is shown with every dose. */
  caution?: string;
}

/** LabelledStrength is a strength as it is printed, beside the exact one. */
export interface LabelledStrength {
  /** The units as printed; empty when nothing is printed. */
  printed_units?: string;
  /** The volume as printed, in millilitres; empty when nothing is printed. */
  printed_ml?: string;
  /** The units that this volume holds exactly. */
  exact_units?: string;
  /** That value as a reduced fraction; absent when the decimal is exact. */
  exact_units_fraction?: string;
  /** How far the printed figure is from the exact one, in per cent of the exact one; 0 when they agree. */
  difference_percent?: string;
  /** On whose word the dilution stands. */
  standing?: DilutionStanding;
  /** Where it holds; empty when everywhere. */
  market?: string;
  /** Where it comes from. */
  source?: Citation;
}

/** UseByStatement is a rule for use after mixing. */
export interface UseByStatement {
  /** How long, in seconds. */
  seconds?: number;
  /** How it must be kept. */
  storage?: string;
  /** Where it holds; empty when everywhere. */
  market?: string;
  /** Where it comes from. */
  source?: Citation;
}

/** PlanDrawRequest is a plan to be drawn up. Injections fill syringes in the order given. */
export interface PlanDrawRequest {
  /** The product of every dose. */
  product?: string;
  /** The vial and its diluent. */
  vial?: VialContent;
  /** The syringe. */
  syringe?: SyringeType;
  /** The injections, in the order in which they are to be given. */
  doses?: PlannedDose[];
  /** What is pushed out after the needle change, for each syringe, in millilitres; absent means none. */
  priming_ml?: string;
  /** What the drawing needle keeps when it is changed, in millilitres, for each syringe; absent means none. */
  needle_dead_space_ml?: string;
  /** Where a plan that was begun stands; absent at the beginning. */
  resume?: DrawResumption;
  /** The greatest volume per injection, in millilitres; absent means the formulary's. */
  most_ml_per_injection?: string;
  /** Which tables to use; absent means the default. */
  formulary?: FormularyChoice;
  /** How far a delivered dose may be from its plan, as the clinic's medical lead set it; absent means the formulary's. */
  tolerance?: DrawTolerance;
  /**
   * What the injection needle holds, in millilitres: what must be pushed out to prime it, else the first injection fills the needle and not the muscle.
   * Absent means that it is not known and not checked.
   */
  injection_needle_dead_space_ml?: string;
}

/** DrawTolerance is how far a delivered dose may be from its plan before the answer says so. It is the medical lead's figure: nobody published one. */
export interface DrawTolerance {
  /** For one injection, in per cent of its dose; absent means the formulary's. */
  injection_percent?: string;
  /** Between right and left planned equal, in per cent of that dose; absent means the formulary's. */
  side_difference_percent?: string;
}

/** DrawResumption is where a plan stands after a leak, a spill or a changed dose. What is still to be given are the doses of the request. */
export interface DrawResumption {
  /** Where the plunger of the syringe in use stands, as read, in millilitres. */
  plunger_ml?: string;
  /** What each side had so far, over all syringes, so that rounding goes on where it was; a side that is missing had nothing. */
  given?: DoseSideGiven[];
  /** That something left the syringe without being given, such as a leak or a spill; absent when nothing did. */
  loss?: DrawLoss;
}

/** DrawLoss is what leaked or was spilled. */
export interface DrawLoss {
  /** How much, in millilitres; absent when nobody knows, which is said and never counted as zero. */
  lost_ml?: string;
}

/** SideGiven is what one side had so far. */
export interface DoseSideGiven {
  /** The side; absent for injections without one. */
  side?: Side;
  /** The exact volume that was planned for what was given, in millilitres, or a reduced fraction such as 7/120. */
  exact_ml?: string;
  /** The volume that the marks say was given, in millilitres. */
  delivered_ml?: string;
}

/** PlanDrawResponse is the syringes and marks of a plan. */
export interface PlanDrawResponse {
  /** The concentration. */
  concentration?: Concentration;
  /** The whole plan. */
  total?: DoseVolume;
  /** The syringes, in the order of use. */
  syringes?: SyringePlan[];
  /** What each side is to have and will have. */
  sides?: SidePlan[];
  /** What the vial must hold. */
  vial?: VialNeed;
  /** How far rounding alone can be off. */
  rounding?: RoundingBound;
  /** What the guardrails say. */
  findings?: Finding[];
  /** The formulary used. */
  edition?: EditionUsed;
  /** The caution that is shown with every dose. */
  caution?: string;
}

/** SyringePlan is one syringe. */
export interface SyringePlan {
  /** The mark that the plunger stands at before the first injection, in millilitres. */
  drawn_ml?: string;
  /** The mark to draw to before the needle is changed and primed, in millilitres; equal to drawn_ml where there is neither. */
  draw_to_ml?: string;
  /** Where the plunger stands after each injection. */
  marks?: Mark[];
  /** What is left in it after the last, in millilitres. */
  left_ml?: string;
  /** True for the syringe in use when a plan is resumed; it is not drawn anew. */
  continued?: boolean;
}

/** Mark is one injection on its syringe. */
export interface Mark {
  /** The caller's name for it. */
  ref?: string;
  /** The exact volume of the dose, in millilitres. */
  exact_ml?: string;
  /** That volume as a reduced fraction; absent when the decimal is exact. */
  exact_ml_fraction?: string;
  /** Where the plunger stands after it, in millilitres. */
  mark_ml?: string;
  /** What the marks say is given, in millilitres. */
  delivered_ml?: string;
  /** What that is in units. */
  delivered_units?: string;
  /** That value as a reduced fraction; absent when the decimal is exact. */
  delivered_units_fraction?: string;
  /** Delivered less planned, in units; with a sign when it is too little. */
  error_units?: string;
  /** That value as a reduced fraction; absent when the decimal is exact. */
  error_units_fraction?: string;
  /** Delivered less planned, in per cent of the planned dose. */
  error_percent?: string;
  /** The mark on an insulin scale as it is shown, such as "mark 13 (0.13 mL)"; absent on other scales. */
  scale_mark?: string;
}

/** SidePlan is one side of a plan. */
export interface SidePlan {
  /** The side; absent for injections without one. */
  side?: Side;
  /** What it is to have. */
  planned?: DoseVolume;
  /** What the marks say it will have, in millilitres. */
  delivered_ml?: string;
  /** What that is in units. */
  delivered_units?: string;
  /** That value as a reduced fraction; absent when the decimal is exact. */
  delivered_units_fraction?: string;
  /** Delivered less planned, in units. */
  error_units?: string;
  /** Delivered less planned, in per cent. */
  error_percent?: string;
}

/** VialNeed is what a plan takes from vials. */
export interface VialNeed {
  /** What must be drawn in all, dead space and priming included, in millilitres. */
  needed_ml?: string;
  /** What that holds in units. */
  needed_units?: string;
  /** How many vials of this content that takes. */
  vials?: number;
  /** What is left in the last vial, in millilitres. */
  left_ml?: string;
  /** What that holds in units. */
  left_units?: string;
}

/** RoundingBound is the proven bound of rounding. The syringe's own tolerance and the hand's come on top and are never mixed into it. */
export interface RoundingBound {
  /** The most that a side can be off at any moment, in millilitres: half a graduation. */
  side_ml?: string;
  /** What that is in units. */
  side_units?: string;
  /** The most that an injection can be off, in millilitres: one graduation. */
  injection_ml?: string;
  /** What that is in units. */
  injection_units?: string;
  /** What the standard allows the syringe itself, in words; empty when it is not known. */
  syringe_tolerance?: string;
}

/** AdviseDilutionRequest is a plan that is to be measured as exactly as can be. */
export interface AdviseDilutionRequest {
  /** The product. */
  product?: string;
  /** The contents of the vials at hand, in units. */
  contents_units?: string[];
  /** The injections, in the order in which they are to be given. */
  doses?: PlannedDose[];
  /** The syringes at hand; empty means those that the caller's clinic stocks, or the formulary's. */
  syringes?: SyringeType[];
  /** Further diluent volumes to consider though nobody labelled or adopted them, in millilitres; they are marked so. */
  other_diluents_ml?: string[];
  /** The use that labels must be for; absent means aesthetic. */
  use?: string;
  /** The greatest volume per injection, in millilitres; absent means the formulary's. */
  most_ml_per_injection?: string;
  /** What is pushed out for each syringe, in millilitres; absent means none. */
  priming_ml?: string;
  /** What the drawing needle keeps, in millilitres; absent means none. */
  needle_dead_space_ml?: string;
  /** The most options to answer; 0 means 10. */
  most_options?: number;
  /** Which tables to use; absent means the default. */
  formulary?: FormularyChoice;
}

/** AdviseDilutionResponse is the ranked list. There is never one silent choice. */
export interface AdviseDilutionResponse {
  /** The options, best first. */
  options?: DilutionOption[];
  /** Those that were left out, and why. */
  rejected?: RejectedDilution[];
  /** What the guardrails say of all of them. */
  findings?: Finding[];
  /** The formulary used. */
  edition?: EditionUsed;
  /** The caution that is shown with every dose. */
  caution?: string;
  /** How many options there are in all, those not answered included. */
  option_count?: number;
}

/**
 * DilutionOption is a dilution with a syringe and its figures. Ranked by worst error, difference of sides, cost of a slip; then fewer syringes, less
 * left over, less diluent, the smaller syringe.
 */
export interface DilutionOption {
  /** Its rank, from 1. */
  rank?: number;
  /** The content of the vial, in units. */
  content_units?: string;
  /** The diluent, in millilitres; empty for a ready liquid. */
  diluent_ml?: string;
  /** The concentration. */
  concentration?: Concentration;
  /** The syringe. */
  syringe?: AdvisedSyringe;
  /** On whose word it stands; unspecified for one that only the caller named. */
  standing?: DilutionStanding;
  /** The worst error of any injection, in per cent of its dose. */
  worst_error_percent?: string;
  /**
   * How much further apart right and left get than is planned, in units: the greatest of the whole plan and of any muscle that has both. Where they are
   * planned equal it is their difference.
   */
  side_difference_units?: string;
  /** What a slip of one graduation costs, in units. */
  slip_units?: string;
  /** How many syringes it takes. */
  syringe_count?: number;
  /** What is left over, in units: all that the vials opened hold and the patient does not get, dead space and priming included. */
  left_units?: string;
  /** The largest volume of an injection, in millilitres. */
  greatest_injection_ml?: string;
  /** Where the dilution comes from; absent for one that only the caller named. */
  source?: Citation;
  /** What the guardrails say of this one. */
  findings?: Finding[];
  /** The worst error as a reduced fraction of per cent; absent when the decimal is exact. */
  worst_error_percent_fraction?: string;
  /** The difference of the sides as a reduced fraction; absent when the decimal is exact. */
  side_difference_units_fraction?: string;
  /** The cost of a slip as a reduced fraction; absent when the decimal is exact. */
  slip_units_fraction?: string;
  /** What is left over as a reduced fraction; absent when the decimal is exact. */
  left_units_fraction?: string;
  /** The largest volume as a reduced fraction; absent when the decimal is exact. */
  greatest_injection_ml_fraction?: string;
  /** How many vials are opened. */
  vials?: number;
  /** The volume of a ready liquid, in millilitres; empty for a powder. */
  liquid_ml?: string;
  /** The first injection that has the worst error, by the caller's name. */
  worst_ref?: string;
}

/** AdvisedSyringe is a syringe of an option. */
export interface AdvisedSyringe {
  /** Its nominal capacity, in millilitres. */
  capacity_ml?: string;
  /** The smallest step that is read on it, in millilitres. */
  graduation_ml?: string;
  /** True when its scale counts hundredths of a millilitre as insulin units. */
  insulin_scale?: boolean;
  /** Its entry of the formulary; empty when it has none. */
  code?: string;
}

/** RejectedDilution is a dilution that was left out. */
export interface RejectedDilution {
  /** The content of the vial, in units. */
  content_units?: string;
  /** The diluent, in millilitres; empty for a ready liquid. */
  diluent_ml?: string;
  /** Why. */
  reason?: string;
  /** The syringe, where it is out with this one only; absent when it is out with any. */
  syringe?: AdvisedSyringe;
  /** The volume of a ready liquid, in millilitres; empty for a powder. */
  liquid_ml?: string;
}

/** CheckSessionRequest is a session to be checked. */
export interface CheckSessionRequest {
  /** The moment that dates are judged at, by the caller's clock; absent means now, by the server's clock. Offline it must be given. */
  as_of?: string;
  /** Which tables to use; absent means those that the session began with. */
  formulary?: FormularyChoice;
  /** A session that the server holds, with what it holds beside it. */
  session_id?: string;
  /** What the request holds, and nothing else; this is how the command line and the tablet ask. */
  facts?: SessionFacts;
}

/** SessionFacts is a session with what it is judged by. What is missing counts as unknown, never as clear. */
export interface SessionFacts {
  /** The session. */
  session?: Session;
  /** The patient. */
  patient?: Patient;
  /** Earlier sessions of the patient, at any clinic, linked records included. */
  history?: Session[];
  /** The vials drawn from. */
  vials?: Vial[];
  /** Their lots. */
  lots?: Lot[];
  /** The order. */
  order?: Order;
  /** The clinic with its policies. */
  clinic?: Clinic;
  /** The people named in the session. */
  staff?: Staff[];
  /** The texts that were explained. */
  consent_texts?: ConsentText[];
  /** The questionnaires that were answered. */
  questionnaires?: Questionnaire[];
  /** The registers of these records that have more than one value; guardrails take the worse end. */
  conflicts?: PathSiblings[];
  /** How old what is known of each clinic is. */
  knowledge?: ClinicKnowledgeFact[];
  /** What is known of the device's clock; absent means it was never checked. */
  clock?: ClockState;
  /** The records among these of which an edit is held and waits for a person, so that what it says is not in them. */
  held?: RecordKey[];
}

/** PathSiblings is a register in conflict, with all its values. */
export interface PathSiblings {
  /** The record. */
  key?: RecordKey;
  /** The register, as paths of EditRecord name it. */
  path?: string;
  /** Its values as JSON; an emptied one is the word null. */
  values_json?: string[];
}

/** ClinicKnowledgeFact is how old what is known of a clinic is. */
export interface ClinicKnowledgeFact {
  /** The clinic. */
  clinic_id?: string;
  /** Everything that its tablets recorded before this moment is here; absent means nothing is known of it. */
  complete_until?: string;
  /** Its name, for what is said of it; empty when it is not known here. */
  clinic_name?: string;
}

/** CheckSessionResponse is the findings of a session. */
export interface CheckSessionResponse {
  /** The findings, holds first, then cautions, then notes; each by its code. */
  findings?: Finding[];
  /** What is planned and what was given in this session, by product. */
  totals?: ProductTotal[];
  /** True when no hold stands: every one was lifted by someone who may. */
  may_inject?: boolean;
  /** The formulary used. */
  edition?: EditionUsed;
  /** The caution that is shown with every dose. */
  caution?: string;
}

/** DoseSpan is a sum of doses. Where values are in conflict or unknown it is a span and not a number. */
export interface DoseSpan {
  /** The least that it can be, in units. */
  least_units?: string;
  /** The most that it can be, in units; absent when something unknown was given. */
  most_units?: string;
  /** True when both ends are the same and nothing is unknown. */
  certain?: boolean;
}

/** ProductTotal is sums of one product. */
export interface ProductTotal {
  /** The product. */
  product?: string;
  /** What is planned; absent in a history. */
  planned?: DoseSpan;
  /** What was given. */
  given?: DoseSpan;
  /** The same by muscle and side. */
  targets?: TargetTotal[];
}

/** TargetTotal is sums of one muscle and side. */
export interface TargetTotal {
  /** The muscle. */
  muscle?: string;
  /** The side; absent for injections without one. */
  side?: Side;
  /** What is planned; absent in a history. */
  planned?: DoseSpan;
  /** What was given. */
  given?: DoseSpan;
}

/** GetToxinHistoryRequest asks for a patient's history. */
export interface GetToxinHistoryRequest {
  /** Only treatments on or after this day; absent means all. */
  from?: Date;
  /** Only treatments on or before this day; absent means all. */
  until?: Date;
  /** The day that intervals are counted to; absent means today, by the clinic's calendar. Offline it must be given. */
  on?: Date;
  /** Which tables to use; absent means the default. */
  formulary?: FormularyChoice;
  /** The most treatments to answer; 0 means 100. Sums are over all of them. */
  page_size?: number;
  /** The next_page_token of the answer before; empty for the first page. */
  page_token?: string;
  /** A patient that the server holds, linked records included. */
  patient_id?: string;
  /** What the request holds, and nothing else. */
  facts?: HistoryFacts;
}

/** HistoryFacts is what a history is reckoned from. */
export interface HistoryFacts {
  /** The patient, with treatments reported from elsewhere. */
  patient?: Patient;
  /** The sessions, at any clinic, linked records included. */
  sessions?: Session[];
  /** The registers of these records that have more than one value. */
  conflicts?: PathSiblings[];
  /** How old what is known of each clinic is. */
  knowledge?: ClinicKnowledgeFact[];
  /** The records among these of which an edit is held and waits for a person, so that what it says is in no sum. */
  held?: RecordKey[];
}

/** GetToxinHistoryResponse is a toxin history. It never looks like an all-clear: what it did not check, it names. */
export interface GetToxinHistoryResponse {
  /** The history by product, side by side and never summed. */
  products?: ProductHistory[];
  /** The treatments, newest first. */
  treatments?: TreatmentEntry[];
  /** The day of the last treatment with any product, wherever it was; absent when none is known. */
  last_of_any?: Date;
  /** The days since then; absent when none is known. */
  days_since_any?: number;
  /** What is known of each clinic. */
  knowledge?: ClinicKnowledge[];
  /** The sentence that says what was not checked. */
  unchecked_text?: string;
  /** What the guardrails say. */
  findings?: Finding[];
  /** Asks for more treatments; empty means no more pages. */
  next_page_token?: string;
  /** The formulary used. */
  edition?: EditionUsed;
  /** The caution that is shown with every dose. */
  caution?: string;
}

/** ProductHistory is what a patient had of one product. */
export interface ProductHistory {
  /** The product; empty for treatments with a product that nobody knows. */
  product?: string;
  /** Sums over the days asked for. */
  total?: ProductTotal;
  /** The day of the last treatment of any kind, the latest that it can have been; absent when there was none. */
  last_on?: Date;
  /** The days since then. */
  days_since_last?: number;
  /** The day of the last that was not a touch-up, the latest that it can have been; absent when there was none. */
  last_full_on?: Date;
  /** The days since then. */
  days_since_last_full?: number;
  /** Each interval rule with the earliest day that meets it. */
  intervals?: IntervalState[];
  /** The sum in each window that a limit watches. */
  windows?: WindowTotal[];
}

/** IntervalState is one interval rule, as written: 84 days, 90 days and 3 months are three rules. */
export interface IntervalState {
  /** The rule in days; 0 when it is written in months. */
  days?: number;
  /** The rule in calendar months; 0 when it is written in days. */
  months?: number;
  /** The earliest day that meets it. */
  earliest_on?: Date;
  /** True when it is met on the day asked about. */
  met?: boolean;
  /** Where the rule holds; empty when everywhere. */
  market?: string;
  /** Where the rule comes from. */
  source?: Citation;
  /** The product that the rule is for; empty when it is for any. */
  product?: string;
  /** The day that it counts from: the latest on which the last treatment can have been. */
  counted_from?: Date;
}

/** WindowTotal is the sum in a window. */
export interface WindowTotal {
  /** The first day of the window. */
  from?: Date;
  /** Its last day. */
  until?: Date;
  /** What was given in it. */
  given?: DoseSpan;
  /** The most that the rule allows, in units; empty when no figure is published. */
  limit_units?: string;
  /** Where the rule comes from. */
  source?: Citation;
  /** The muscle or the region that the limit is for; empty when it is for the whole face. What may or may not have been there makes a span. */
  target?: string;
}

/** TreatmentEntry is one treatment. */
export interface TreatmentEntry {
  /** The session; empty for one reported from elsewhere. */
  session_id?: string;
  /** The session that a touch-up belongs to; empty otherwise. */
  parent_session_id?: string;
  /** The clinic; empty for one reported from elsewhere. */
  clinic_id?: string;
  /** The day, as far as it is known. */
  on?: ApproximateDate;
  /** What was given, by product. */
  totals?: ProductTotal[];
  /** True when it counts as a touch-up of its parent. */
  touch_up?: boolean;
  /** True when it was reported from elsewhere. */
  elsewhere?: boolean;
  /** True when it was for a disease. */
  therapeutic?: boolean;
  /** True when the session is signed. */
  signed?: boolean;
  /** True when a value of it is in conflict. */
  in_conflict?: boolean;
  /** When one reported from elsewhere was written down, by that device's clock; absent otherwise. */
  reported_at?: string;
  /** Who told of one reported from elsewhere; unspecified otherwise. */
  origin?: ReportOrigin;
  /** Why one that was declared a touch-up counts as a treatment; empty otherwise. */
  not_touch_up_text?: string;
}

/** ClinicKnowledge is how old what is known of a clinic is: as old as its tablet that was silent longest. */
export interface ClinicKnowledge {
  /** The clinic. */
  clinic_id?: string;
  /** Its name; empty when it is not known here. */
  clinic_name?: string;
  /** Everything recorded there before this moment is in the answer; absent means the clinic was not checked. */
  complete_until?: string;
  /** How many of its devices have not exchanged since. */
  silent_devices?: number;
}

/** CompareProductsRequest is two products. */
export interface CompareProductsRequest {
  /** The first product. */
  product?: string;
  /** The second product. */
  other_product?: string;
  /** Which tables to use; absent means the default. */
  formulary?: FormularyChoice;
}

/** CompareProductsResponse is what was published of two products. */
export interface CompareProductsResponse {
  /** The published ratios. */
  bands?: PublishedBand[];
  /** That units of the two are not interchangeable. */
  statement?: string;
  /** Where the labels say so. */
  labels?: Citation[];
  /** What the guardrails say. */
  findings?: Finding[];
  /** The formulary used. */
  edition?: EditionUsed;
  /** The caution that is shown with every dose. */
  caution?: string;
}

/** PublishedBand is a published ratio between units of two products. It is shown and never used to reckon. */
export interface PublishedBand {
  /** The product of the first number. */
  product?: string;
  /** The product of the second number. */
  other_product?: string;
  /** The lowest published ratio, units of the first to one of the second. */
  lowest_ratio?: string;
  /** The highest published ratio. */
  highest_ratio?: string;
  /** What was found. */
  meaning?: string;
  /** Where it was found. */
  setting?: string;
  /** Where it was published. */
  source?: Citation;
}

/** GetAsymmetryRequest asks how right and left were treated and how they responded. */
export interface GetAsymmetryRequest {
  /** Only treatments on or after this day; absent means all. */
  from?: Date;
  /** Only treatments on or before this day; absent means all. */
  until?: Date;
  /** Only these muscles; empty means all. */
  muscles?: string[];
  /** Only the grades of these regions; empty means all. */
  regions?: string[];
  /** Which tables to use; absent means the default. */
  formulary?: FormularyChoice;
  /** A patient that the server holds, linked records included. */
  patient_id?: string;
  /** What the request holds, and nothing else. */
  facts?: HistoryFacts;
}

/** GetAsymmetryResponse is right and left side by side. */
export interface GetAsymmetryResponse {
  /** The view. */
  view?: AsymmetryView;
  /** What the guardrails say. */
  findings?: Finding[];
  /** The formulary used. */
  edition?: EditionUsed;
  /** The caution that is shown with every dose. */
  caution?: string;
}

/** AsymmetryView is right and left over time. It describes, and stops there. */
export interface AsymmetryView {
  /** The treatments, newest first. */
  treatments?: TreatmentSides[];
  /** What the view does not say, as a sentence. */
  statement?: string;
}

/** TreatmentSides is right and left of one treatment, with how they responded. */
export interface TreatmentSides {
  /** The session. */
  session_id?: string;
  /** The session that it was declared a touch-up of; empty otherwise. */
  parent_session_id?: string;
  /** The day; absent when it is not known or in conflict. */
  on?: Date;
  /** The muscles that were given something on the right or on the left, by product and name. */
  muscles?: MuscleSides[];
  /** The grades that have a side, before it and after it. */
  responses?: SideResponse[];
  /** How the result of a side was judged. */
  judgements?: SideJudgement[];
  /** True when a value that this rests on is in conflict. */
  in_conflict?: boolean;
}

/** MuscleSides is what the right and the left of one muscle had of one product. */
export interface MuscleSides {
  /** The muscle. */
  muscle?: string;
  /** The product. */
  product?: string;
  /** What the right had. */
  right?: SideDose;
  /** What the left had. */
  left?: SideDose;
  /** Right less left, in units; negative when the left had more. Absent while a dose is not known. */
  difference?: DoseSpan;
  /** Right less left, in per cent of the larger; absent while a dose is a span. */
  difference_percent?: string;
  /** That value as a reduced fraction; absent when the decimal is exact. */
  difference_percent_fraction?: string;
  /** The injections of the two sides, paired from the highest down; empty when the sides have not equally many in one frame and scale. */
  pairs?: PlacePair[];
  /** Why there are no pairs; empty when there are. */
  unpaired_text?: string;
}

/** SideDose is what one side of a muscle had. */
export interface SideDose {
  /** The sum. */
  given?: DoseSpan;
  /** By how many injections; those that may have been count. */
  injections?: number;
}

/** PlacePair is an injection on the right with one on the left, each where it went in. */
export interface PlacePair {
  /** The face frame. */
  frame?: string;
  /** How far from the frame's midline the right one was, in millimetres; negative when it was across. */
  right_lateral_mm?: string;
  /** How far above the frame's origin the right one was, in millimetres. */
  right_height_mm?: string;
  /** How far from the frame's midline the left one was, in millimetres; negative when it was across. */
  left_lateral_mm?: string;
  /** How far above the frame's origin the left one was, in millimetres. */
  left_height_mm?: string;
  /** Right less left of the distance from the midline, in millimetres. */
  lateral_difference_mm?: string;
  /** Right less left of the height, in millimetres. */
  height_difference_mm?: string;
  /** How far apart they are when one side is mirrored onto the other, in millimetres to the nearest micrometre. */
  distance_mm?: string;
}

/** SideResponse is the grades of one region on both sides, on one scale and in one contraction. */
export interface SideResponse {
  /** The region. */
  region?: string;
  /** The scale. */
  scale?: string;
  /** Its version. */
  version?: string;
  /** What a higher grade means. */
  direction?: ScaleDirection;
  /** What the muscles did. */
  contraction?: Contraction;
  /** The grade of the right before the treatment; absent when it was not graded. */
  right_before?: number;
  /** The grade of the left before the treatment; absent when it was not graded. */
  left_before?: number;
  /** The grade of the right at the review; absent when it was not graded. */
  right_after?: number;
  /** The grade of the left at the review; absent when it was not graded. */
  left_after?: number;
  /** After less before on the right; absent when either was not graded. */
  right_change?: number;
  /** After less before on the left; absent when either was not graded. */
  left_change?: number;
  /** The session of the review; empty when there was none. */
  review_session_id?: string;
  /** The days from the treatment to the review; absent when there was none or a day is not known. */
  days_after?: number;
}

/** SideJudgement is how a result was judged at a review. */
export interface SideJudgement {
  /** The session of the review. */
  session_id?: string;
  /** The side; absent when it is about both. */
  side?: Side;
  /** The region; empty when it is the whole face. */
  region?: string;
  /** Who judged. */
  judge?: Judge;
  /** The response as it was recorded, such as as_wanted; empty when only a grade was given. */
  response?: string;
}

/** ClockState is what is known of a device's clock. */
export type ClockState =
  /** Not stated; rejected on write. */
  | "CLOCK_STATE_UNSPECIFIED"
  /** It agreed with the server's at the last exchange. */
  | "CLOCK_STATE_CHECKED"
  /** It was seen to run backwards. */
  | "CLOCK_STATE_RAN_BACKWARDS"
  /** It was never compared. */
  | "CLOCK_STATE_UNCHECKED";

/** ListFindingsRequest says which findings. Conditions are joined by and. */
export interface ListFindingsRequest {
  /** Only those about a record of this clinic; absent for any. */
  clinic_id?: string;
  /** Only those about this record: a patient with her sessions, a session, or a vial; absent for any. */
  key?: RecordKey;
  /** The most to answer; 0 means 100. */
  page_size?: number;
  /** The next_page_token of the answer before; empty for the first page. */
  page_token?: string;
}

/** ListFindingsResponse is a page of findings. */
export interface ListFindingsResponse {
  /** The findings, about records that the caller may read. A page may be short, or empty, and have a next one. */
  findings?: Finding[];
  /** Asks for the next page; empty means no more pages. */
  next_page_token?: string;
}

/**
 * SafetyEntry is what a device holds of a patient whose records it does not hold, so that someone who walks in is never a stranger. It is folded by the
 * server from the patient's records. It is no all-clear: what is not in it was not known, or was in conflict.
 */
export interface SafetyEntry {
  /** The patient, 16 bytes. */
  patient_id?: string;
  /** The name; absent when it is not known or in conflict. */
  name?: PersonName;
  /** The date of birth; absent when it is not known or in conflict. */
  date_of_birth?: Date;
  /** The alerts that stand, as a person wrote them. */
  alerts?: string[];
  /** The latest treatment with each product, by product. */
  treatments?: SyncLastTreatment[];
  /** True when a field that this entry is made of is in conflict: hold the whole record before treating. */
  in_conflict?: boolean;
}

/** LastTreatment is the latest day on which a product was given, at whatever clinic. */
export interface SyncLastTreatment {
  /** The product by its nonproprietary name. */
  product?: string;
  /** The day. */
  on?: Date;
  /** The clinic, 16 bytes; empty when it is not known. */
  clinic_id?: string;
}

/** SealedEdit is one edit that its device sealed to the server's key. docs/protocol.md says what is inside, and to what the seal is bound. */
export interface SealedEdit {
  /** The replica that made it, 16 bytes. */
  replica?: string;
  /** Its counter. */
  counter?: string;
  /** The sealed bytes. */
  sealed?: string;
}

/** HandInSealedRequest hands in what one device sealed. */
export interface HandInSealedRequest {
  /** The device that sealed it, 16 bytes. */
  device?: string;
  /** The sealed edits, each replica's ascending by counter. */
  edits?: SealedEdit[];
  /** The device's signature over the hand-in's statement; empty when a person who is signed in hands in. */
  proof?: string;
}

/** HandedIn says what became of one sealed edit. */
export interface HandedIn {
  /** What became of it. */
  state?: HandedInState;
  /** Why it is held or kept. */
  reason?: Reason;
}

/** HandInSealedResponse says what became of the edits, in the order of the request. All of it is on the server's disk. */
export interface HandInSealedResponse {
  /** One for each edit. */
  results?: HandedIn[];
}

/** HandedInState is what became of a sealed edit. */
export type HandedInState =
  /** Never sent. */
  | "HANDED_IN_STATE_UNSPECIFIED"
  /** It is in the ledger and held for a person to release. */
  | "HANDED_IN_STATE_HELD"
  /** The server had it before; nothing changed. */
  | "HANDED_IN_STATE_KNOWN"
  /** It could not be opened, or does not follow what the server has of its replica. It is kept as it came, and listed with its device. */
  | "HANDED_IN_STATE_KEPT";

/** DotInfo is one edit of which something is still current in a record. */
export interface DotInfo {
  /** The edit's replica: an index into the row's vector. */
  replica?: number;
  /** The edit's counter. */
  counter?: string;
  /** The edit's author: an index into the answer's table of authors. */
  author?: number;
  /** The device's claim of when the edit was made, milliseconds since 1970 UTC. For people to read; it orders nothing. */
  authored_at_unix_ms?: string;
}

/** Fragment is what is still current of one edit's write: the registers of one path whose value is that edit's. */
export interface Fragment {
  /** The edit: an index into the row's dots. */
  dot?: number;
  /** Where, as in Write. */
  path?: string;
  /** The registers that this edit's values hold, canonical, ascending. */
  set?: string;
  /** The registers that this edit cleared and nobody wrote since. */
  clear?: number[];
}

/**
 * RecordRow is one record as the server holds it: which dots it has seen and what is current of them. Where a register has fragments of several
 * dots, it is in conflict.
 */
export interface RecordRow {
  /** The kind of the record. */
  kind?: RecordKind;
  /** The record's id, 16 bytes. */
  record_id?: string;
  /** The version vector, as pairs: index of a replica in the answer's table, counter. Ascending by replica id. */
  vector?: string[];
  /** The edits of which something is in the row, ascending by dot. */
  dots?: DotInfo[];
  /** What is current, ascending by path, then by dot. In a delta only the registers that changed after the cursor, each with all its siblings. */
  fragments?: Fragment[];
  /** True when the row holds only what changed after the cursor; the rest is as the replica has it. */
  delta?: boolean;
  /** The edits of this record that are held, waiting, or were judged since. */
  held?: HeldEdit[];
}

/** HeldEdit is an edit that did not take effect as it came, kept whole. */
export interface HeldEdit {
  /** The edit's replica: an index into the table of the answer. */
  replica?: number;
  /** The edit's counter, which it keeps though it had no effect. */
  counter?: string;
  /** The edit; its indexes are into the tables of the answer. */
  edit?: Edit;
  /** Why. */
  reason?: Reason;
  /** A sentence for a person: what was read and what would be right. No patient data. */
  detail?: string;
  /** What became of it. */
  status?: HeldStatus;
  /** True when only the writes given here were held and the rest of the edit took effect. */
  partial?: boolean;
}

/** RecordRef names a record. */
export interface RecordRef {
  /** The kind of the record. */
  kind?: RecordKind;
  /** The record's id, 16 bytes. */
  record_id?: string;
}

/** ChainPoint is one edit of a replica as its hash chain knows it. */
export interface ChainPoint {
  /** The edit's counter. */
  counter?: string;
  /** The chain hash after it. */
  hash?: string;
  /** The edit's id. */
  edit_id?: string;
}

/** HelloRequest introduces a replica. */
export interface HelloRequest {
  /** The replica, 16 bytes. Unknown ones are registered to the device. */
  replica?: string;
  /** The edits that the replica still holds, ascending by counter; empty when it only asks for the time and the epoch. */
  chain?: ChainPoint[];
  /** The cursor that the replica holds, or empty. */
  cursor?: string;
}

/** KnownEdit says that the server holds an edit, under which dot. */
export interface KnownEdit {
  /** The edit's id. */
  edit_id?: string;
  /** The replica under which the server holds it. */
  replica?: string;
  /** The counter under which the server holds it. */
  counter?: string;
}

/** HelloResponse is where the server stands. */
export interface HelloResponse {
  /** The server's epoch, 16 bytes; a new one after every restore. */
  epoch?: string;
  /** The highest counter that the server holds of this replica, 0 for none. */
  counter?: string;
  /** The chain hash at that counter. */
  hash?: string;
  /** The highest counter of the request at which both chains agree; 0 when none of those given does. */
  common_counter?: string;
  /** Those of the request's edits that the server holds, under whatever dot. */
  known?: KnownEdit[];
  /** Edits of this replica up to this counter are in the oldest backup kept; a replica keeps the later ones. */
  backed_up_counter?: string;
  /** The server's clock, milliseconds since 1970 UTC, so that a device can tell how far its own is off. */
  server_time_unix_ms?: string;
  /** True when the cursor given belongs to this epoch and place in the commit chain. */
  cursor_valid?: boolean;
  /** The organisation of the device, 16 bytes. */
  organisation?: string;
  /** The schema version of the server. */
  schema_version?: number;
  /** Edits of this replica up to this counter are in the newest good backup: they are backed up. */
  newest_backed_up_counter?: string;
}

/** ExchangeRequest carries unsent edits and asks for what changed. */
export interface ExchangeRequest {
  /** The replica that speaks, 16 bytes. */
  replica?: string;
  /** Where the last exchange ended; empty to pull from the beginning. */
  cursor?: string;
  /** The counter of the newest edit that this replica made, sent or not; 0 before its first. */
  head_counter?: string;
  /** The chain hash at that counter; empty at 0. A server that holds more of this replica than this knows the tablet was restored or cloned. */
  head_hash?: string;
  /** Unsent edits, if any. */
  page?: Page;
  /** The most records wanted in the answer; 0 for the server's default, which is also the most. */
  max_rows?: number;
  /** How the device's scope changes; absent when it does not. */
  scope?: ScopeChange;
  /** True to be told only what became of the edits: there are more to send, and they come first. The cursor stays where it is. */
  push_only?: boolean;
  /** When the oldest edit that is not on the server was made, as its author's device claims, milliseconds since 1970 UTC; 0 when all are. For people to read. */
  oldest_unsent_unix_ms?: string;
}

/** ScopeChange adds patients to those a device holds whole, and takes some out. Making it again changes nothing. */
export interface ScopeChange {
  /** The mode; only a device's first exchange may set it. */
  mode?: ScopeMode;
  /** Patients to hold whole, each 16 bytes. */
  add?: string[];
  /** Patients to hold no longer, each 16 bytes. */
  remove?: string[];
}

/** ExchangeResponse is what became of the edits and what changed. */
export interface ExchangeResponse {
  /** Edits of this replica up to this counter are on the server's disk, applied, held or waiting. */
  acknowledged_counter?: string;
  /** Those of the page that did not take effect, or were known before. They count as acknowledged. */
  verdicts?: Verdict[];
  /** The replicas that rows refer to, each 16 bytes. */
  replicas?: string[];
  /** The authors that held edits refer to. */
  authors?: string[];
  /** The records that changed after the cursor or entered this replica's scope, each once, in the order of their latest change. */
  rows?: RecordRow[];
  /** The records that left this replica's scope; their states are to be removed. */
  gone?: RecordRef[];
  /** Where this answer ends; absent when it is the request's own. */
  cursor?: string;
  /** True when there is more to pull after this cursor. */
  more?: boolean;
  /** Edits of this replica up to this counter are in the oldest backup kept. */
  backed_up_counter?: string;
  /** Of patients outside the device's scope that changed: what must be known of anyone who walks in. Each replaces what was held of that patient. */
  safety?: SafetyEntry[];
  /** Edits of this replica up to this counter are in the newest good backup: they are backed up. */
  newest_backed_up_counter?: string;
}

/** Verdict says that an edit of the page did not take effect as it came. */
export interface Verdict {
  /** The edit's counter. */
  counter?: string;
  /** What became of it. ALREADY_APPLIED leaves it unset. */
  held?: HeldEdit;
  /** For an edit that the server already holds under another dot: its replica. */
  known_replica?: string;
  /** For an edit that the server already holds under another dot: its counter. */
  known_counter?: string;
}

/** PutPhotoChunkRequest is a piece of a photo. */
export interface PutPhotoChunkRequest {
  /** SHA-256 of the whole photo. */
  sha256?: string;
  /** The size of the whole, in bytes. */
  size?: string;
  /** Where this piece begins. */
  offset?: string;
  /** The piece. */
  data?: string;
}

/** PutPhotoChunkResponse says how far the photo is. */
export interface PutPhotoChunkResponse {
  /** The bytes from the beginning that are on disk without a gap. */
  stored_through?: string;
  /** True when the whole is on disk and its hash is right. */
  complete?: boolean;
}

/** GetPhotoChunkRequest asks for a piece of a photo. */
export interface GetPhotoChunkRequest {
  /** SHA-256 of the whole photo. */
  sha256?: string;
  /** Where the piece begins. */
  offset?: string;
  /** The most bytes wanted. */
  max_bytes?: number;
}

/** GetPhotoChunkResponse is a piece of a photo. */
export interface GetPhotoChunkResponse {
  /** The piece; empty past the end. */
  data?: string;
  /** The size of the whole, in bytes. */
  size?: string;
}

/** ScopeMode is which patients a device holds whole. It is fixed at a device's first exchange. */
export type ScopeMode =
  /** As it is; every patient before the first exchange says otherwise. */
  | "SCOPE_MODE_UNSPECIFIED"
  /** Every patient of the organisation. */
  | "SCOPE_MODE_ALL"
  /** Those added, with a safety index of all others. */
  | "SCOPE_MODE_PATIENTS";

/** SilentDevice is a device that has not exchanged since. */
export interface SilentDevice {
  /** The device. */
  device_id?: string;
  /** Its label. */
  label?: string;
  /** The clinic that it belongs to. */
  clinic_id?: string;
  /** When it last exchanged, by the server's clock; absent when never. */
  last_exchange_at?: string;
  /** Whom to telephone; empty when nobody is named. */
  custodian_name?: string;
  /** The number; empty when it is not known. */
  custodian_phone?: string;
  /** How many edits it said, when it last exchanged, that it had not sent. */
  unsent_edits?: string;
  /** The clinic's own number; empty when it is not known. */
  clinic_phone?: string;
}

/** GetDayCloseRequest names a day. */
export interface GetDayCloseRequest {
  /** The clinic. */
  clinic_id?: string;
  /** The day, by the clinic's calendar. */
  day?: Date;
}

/** GetDayCloseResponse is how a day stands. It is what a person closes it over. */
export interface GetDayCloseResponse {
  /** The day as it stands now. */
  report?: DayReport;
  /** The record of its close; absent while nobody made one. */
  view?: RecordView;
  /** True when it is closed and nothing arrived since. */
  closed?: boolean;
  /** SHA-256 of the report in its canonical form, to be written into the close. */
  report_digest?: string;
  /** The close that stands; absent while none does. */
  closing?: Closing;
  /** The name of who closed; empty while nobody did. */
  closed_by_name?: string;
  /** How many items are open: unsigned sessions, conflicts, held edits, silent and unsynced devices. */
  open_items?: number;
  /** When this was answered, by the server's clock. */
  as_of?: string;
}

/** DayReport is a day with what is open on it. */
export interface DayReport {
  /** The clinic. */
  clinic_id?: string;
  /** The day. */
  day?: Date;
  /** How many sessions there were. */
  sessions?: number;
  /** How many of them are signed. */
  signed_sessions?: number;
  /** Those that are not. */
  unsigned?: OpenSession[];
  /** Devices of the clinic that have not exchanged since the day ended or, while it lasts, for an hour. */
  silent_devices?: SilentDevice[];
  /** Records with fields in conflict. */
  conflicts?: RecordKey[];
  /** How many edits of its records are held. */
  held_edits?: number;
  /** The vials that were open. */
  vials?: VialBalance[];
  /** How many reviews fall due in the week after. */
  reviews_due?: number;
  /** The holds that were lifted. */
  lifted_holds?: LiftedHold[];
  /** What the guardrails say of the day as a whole. */
  findings?: Finding[];
  /** Edits of the day's records that the last close had not seen. */
  late_entries?: TraceLateEntry[];
  /** What was seen of each record of the day: its sessions and vials. */
  seen?: SeenRecord[];
  /** Devices that said, when they last exchanged, that they had edits to send. */
  unsynced_devices?: SilentDevice[];
}

/** SeenRecord is how much was seen of a record. */
export interface SeenRecord {
  /** The record. */
  key?: RecordKey;
  /** The version vector of what was seen. Opaque. */
  context?: string;
}

/** LateEntry is an edit that a close had not seen. */
export interface TraceLateEntry {
  /** The record. */
  key?: RecordKey;
  /** The edit. */
  edit_id?: string;
  /** The staff id of its author. */
  author_id?: string;
  /** Her name. */
  author_name?: string;
  /** When she made it, by her device's clock. */
  authored_at?: string;
  /** The device that brought it; empty when it was made through the API. */
  device_id?: string;
  /** The device's label. */
  device_label?: string;
  /** The fields that it wrote, as EditRecord names them. */
  paths?: string[];
  /** The server's commit sequence at which it came. */
  sequence?: string;
}

/** CloseDayRequest closes a day. */
export interface CloseDayRequest {
  /** Names the request: the same again is done once. A random UUID. */
  request_id?: string;
  /** The clinic. */
  clinic_id?: string;
  /** The day, by the clinic's calendar. */
  day?: Date;
  /** The report_digest that was shown. When the day stands otherwise by now it is refused as STALE_READ. */
  report_digest?: string;
  /** What the person says about what is open; needed when anything is. */
  remark?: string;
}

/** CloseDayResponse is the day after. */
export interface CloseDayResponse {
  /** The day. */
  day?: GetDayCloseResponse;
  /** The close's element id. */
  closing_id?: string;
  /** True when the same request was done before. */
  already_applied?: boolean;
}

/** ReopenDayRequest takes a close back. */
export interface ReopenDayRequest {
  /** Names the request: the same again is done once. A random UUID. */
  request_id?: string;
  /** The clinic. */
  clinic_id?: string;
  /** The day, by the clinic's calendar. */
  day?: Date;
  /** The close's element id. */
  closing_id?: string;
  /** Why. */
  reason?: string;
}

/** ReopenDayResponse is the day after. */
export interface ReopenDayResponse {
  /** The day. */
  day?: GetDayCloseResponse;
  /** True when the same request was done before. */
  already_applied?: boolean;
}

/** OpenSession is a session that nobody signed. */
export interface OpenSession {
  /** The session. */
  session_id?: string;
  /** The patient. */
  patient_id?: string;
  /** The staff id of the injector in charge. */
  responsible_id?: string;
  /** How many late entries wait for a countersignature; 0 when nothing was signed. */
  late_entries?: number;
}

/** VialBalance is a vial's account on one day. */
export interface VialBalance {
  /** The vial. */
  vial_id?: string;
  /** The product. */
  product?: string;
  /** The batch number. */
  lot_number?: string;
  /** Its content, in units. */
  content_units?: string;
  /** What was given from it. */
  given?: DoseSpan;
  /** What was thrown away. */
  wasted?: DoseSpan;
  /** What should be left. */
  left?: DoseSpan;
  /** What was drawn, in millilitres. */
  drawn_ml?: string;
  /** True when more was drawn than it holds. */
  overdrawn?: boolean;
  /** What was counted by hand, in millilitres; absent when nobody counted. */
  counted_ml?: string;
  /** What was drawn, in units. */
  drawn?: DoseSpan;
  /** Drawn, and neither given nor thrown away: what stayed in syringes and needles, or was not charted. */
  unaccounted?: DoseSpan;
  /** True when something thrown away was not measured; it is not in wasted. */
  waste_unknown?: boolean;
}

/** LiftedHold is a hold that somebody lifted. */
export interface LiftedHold {
  /** The session. */
  session_id?: string;
  /** The finding and who lifted it, why. */
  decision?: FindingDecision;
  /** The name of who lifted it. */
  decided_by_name?: string;
}

/** FigureFile is figures as a file. */
export interface FigureFile {
  /** The media type. */
  media_type?: string;
  /** A name for the file. */
  file_name?: string;
  /** The file. */
  data?: string;
}

/** GetLogbookRequest says whose cases. Conditions are joined by and. */
export interface GetLogbookRequest {
  /** The injector's staff id; absent means the caller. Others' are for medical leads and auditors. */
  injector_id?: string;
  /** Only cases at this clinic; absent for all. */
  clinic_id?: string;
  /** Only on or after this day; absent means a year before until. */
  from?: Date;
  /** Only on or before this day; absent means today. */
  until?: Date;
  /** Only cases in this region; absent for all. */
  region?: string;
  /** The most cases to answer; 0 means 100. */
  page_size?: number;
  /** The next_page_token of the answer before; empty for the first page. */
  page_token?: string;
  /** The form; a file holds the whole logbook and not a page of it. */
  form?: FigureForm;
}

/** GetLogbookResponse is a page of cases. It names no patient. */
export interface GetLogbookResponse {
  /** The injector. */
  injector_id?: string;
  /** Her name. */
  injector_name?: string;
  /** The cases, newest day first. */
  cases?: LogbookCase[];
  /** Totals by region, over all pages. */
  regions?: RegionTotal[];
  /** Asks for the next page; empty means no more pages. */
  next_page_token?: string;
  /** The file, when one was asked for. */
  file?: FigureFile;
  /** The first and the last day that were looked at. */
  from?: Date;
  /** The last. */
  until?: Date;
}

/** LogbookCase is one session of an injector. */
export interface LogbookCase {
  /** The session. */
  session_id?: string;
  /** The day. */
  on?: Date;
  /** The clinic. */
  clinic_id?: string;
  /** What kind of visit it was. */
  kind?: SessionKind;
  /** The regions treated, ascending. */
  regions?: string[];
  /** What was given, by product. */
  products?: ProductUnits[];
  /** How many injections she gave. */
  injections?: number;
  /** The staff id of who supervised; empty when nobody did. */
  supervisor_id?: string;
  /** Her name. */
  supervisor_name?: string;
  /** True when it was signed. */
  signed?: boolean;
  /** True when a field of it is in conflict. */
  in_conflict?: boolean;
}

/** ProductUnits is units of one product. Units of two products are never summed. */
export interface ProductUnits {
  /** The product. */
  product?: string;
  /** How much. */
  dose?: DoseSpan;
}

/** RegionTotal counts cases of a region. */
export interface RegionTotal {
  /** The region; empty for muscles of no region that is known. */
  region?: string;
  /** How many cases. */
  cases?: number;
  /** How many of them with a supervisor. */
  supervised?: number;
  /** How many injections. */
  injections?: number;
}

/** GetFiguresRequest says of what. Conditions are joined by and. */
export interface GetFiguresRequest {
  /** Only this clinic; absent for the organisation. */
  clinic_id?: string;
  /** Only this injector's sessions; absent for all. Those who are neither lead nor auditor see their own. */
  injector_id?: string;
  /** Only on or after this day; absent means a year before until. */
  from?: Date;
  /** Only on or before this day; absent means today. */
  until?: Date;
  /** The steps of time. */
  step?: FigureStep;
  /** The form. */
  form?: FigureForm;
  /** What a plot shows. */
  plot?: FigurePlot;
}

/** GetFiguresResponse is figures of a time. It names no patient. */
export interface GetFiguresResponse {
  /** The first day. */
  from?: Date;
  /** The last day. */
  until?: Date;
  /** How many sessions of each kind. */
  kinds?: KindCount[];
  /** How many patients; linked records are one. */
  patients?: number;
  /** Units by product, muscle, side and step of time. */
  units?: UnitsOverTime[];
  /** Touch-ups and unlike sides by region. */
  rates?: RegionRate[];
  /** Days between treatments by product. */
  intervals?: IntervalFigure[];
  /** How many sessions have a field in conflict; their figures are spans. */
  in_conflict?: number;
  /** The file, when one was asked for. */
  file?: FigureFile;
  /** When this was answered, by the server's clock. */
  as_of?: string;
}

/** KindCount counts sessions of a kind. */
export interface KindCount {
  /** The kind; unspecified for sessions of none or of one in conflict. */
  kind?: SessionKind;
  /** How many. */
  sessions?: number;
}

/** UnitsOverTime is what was given of a product into a muscle in a step of time. */
export interface UnitsOverTime {
  /** The product. */
  product?: string;
  /** The muscle; empty when none was recorded. */
  muscle?: string;
  /** The side, the patient's own; absent when none was recorded. */
  side?: Side;
  /** The first day of the step. */
  step_from?: Date;
  /** How much. */
  dose?: DoseSpan;
  /** In how many sessions. */
  sessions?: number;
}

/** RegionRate is how treatments of a region came out. A rate without its count says little, so both are here. */
export interface RegionRate {
  /** The region; empty for muscles of no region that is known. */
  region?: string;
  /** How many treatments. */
  treatments?: number;
  /** How many of them were followed by a touch-up. */
  touched_up?: number;
  /** How many of them were looked at in a review. */
  reviewed?: number;
  /** How many of those had sides that came out unlike: other grades, or other responses, right and left. */
  unlike?: number;
  /** touched_up in per cent of treatments, to one decimal; empty when there are none. */
  touched_up_percent?: string;
  /** unlike in per cent of reviewed, to one decimal; empty when there are none. */
  unlike_percent?: string;
}

/** IntervalFigure is how many days lie between treatments of one patient with a product. Touch-ups are not treatments of their own. */
export interface IntervalFigure {
  /** The product. */
  product?: string;
  /** How many intervals. */
  count?: number;
  /** The shortest. */
  least_days?: number;
  /** The lower median. */
  median_days?: number;
  /** The longest. */
  most_days?: number;
  /** Each interval, ascending. */
  days?: number[];
}

/** FigureForm is the form of an answer. */
export type FigureForm =
  /** Not stated; means data. */
  | "FIGURE_FORM_UNSPECIFIED"
  /** The figures alone. */
  | "FIGURE_FORM_DATA"
  /** And as a table after RFC 4180, safe against formulas. */
  | "FIGURE_FORM_CSV"
  /** And as a plot. Not for a logbook. */
  | "FIGURE_FORM_SVG";

/** FigureStep is how wide the steps of time are. */
export type FigureStep =
  /** Not stated; means months. */
  | "FIGURE_STEP_UNSPECIFIED"
  /** Calendar months. */
  | "FIGURE_STEP_MONTH"
  /** Weeks from Monday. */
  | "FIGURE_STEP_WEEK"
  /** Calendar years. */
  | "FIGURE_STEP_YEAR";

/** FigurePlot is what a plot shows. */
export type FigurePlot =
  /** Not stated; means units by product over time. */
  | "FIGURE_PLOT_UNSPECIFIED"
  /** Units over time, a panel for each product. */
  | "FIGURE_PLOT_UNITS"
  /** Touch-ups and unlike sides, in per cent of treatments. */
  | "FIGURE_PLOT_RATES"
  /** How many days lie between treatments. */
  | "FIGURE_PLOT_INTERVALS";

/** GetEventReportRequest names an adverse event. */
export interface GetEventReportRequest {
  /** The record of the event. */
  adverse_event_id?: string;
  /** The form: data or CSV. */
  form?: FigureForm;
}

/** GetEventReportResponse is the sheet. */
export interface GetEventReportResponse {
  /** The fields, in the order of the sheet. */
  fields?: ReportField[];
  /** The file, when one was asked for. */
  file?: FigureFile;
  /** When this was answered, by the server's clock. */
  as_of?: string;
}

/** ReportField is one field of a report. */
export interface ReportField {
  /** The section of the sheet, such as B3 or D6. */
  section?: string;
  /** What it asks for. */
  label?: string;
  /** What the record says; empty when it says nothing. */
  value?: string;
  /** Which of several suspected products, from 1; 0 when the field is not about one. */
  product_number?: number;
  /** True when the sheet asks and the record does not say. */
  blank?: boolean;
  /** The fields of records that the value comes from. */
  from?: string[];
  /** True when one of those is in conflict. */
  in_conflict?: boolean;
}

/** RecallLotRequest marks a lot as recalled. */
export interface RecallLotRequest {
  /** Names the request: the same again is done once. A random UUID. */
  request_id?: string;
  /** The lot: what it is a batch of, and its number. Its record is made when there is none. */
  lot?: LotIdentity;
  /** Why. */
  reason?: string;
  /** The number of the maker's or the authority's notice; empty when there is none. */
  reference?: string;
  /** The date of the notice. */
  noticed_on?: Date;
}

/** RecallLotResponse is the lot after. */
export interface RecallLotResponse {
  /** The lot's record. */
  view?: RecordView;
  /** The recall's element id. */
  recall_id?: string;
  /** True when the same request was done before. */
  already_applied?: boolean;
}

/** LiftRecallRequest lifts a recall. */
export interface LiftRecallRequest {
  /** Names the request: the same again is done once. A random UUID. */
  request_id?: string;
  /** The lot's record. */
  lot_id?: string;
  /** The recall's element id. */
  recall_id?: string;
  /** Why. */
  reason?: string;
}

/** LiftRecallResponse is the lot after. */
export interface LiftRecallResponse {
  /** The lot's record. */
  view?: RecordView;
  /** True when the same request was done before. */
  already_applied?: boolean;
}

/** ListCallsRequest names a lot. */
export interface ListCallsRequest {
  /** The lot's record. */
  lot_id?: string;
  /** True leaves out who was reached. */
  open_only?: boolean;
  /** The most people to answer; 0 means 100. */
  page_size?: number;
  /** The next_page_token of the answer before; empty for the first page. */
  page_token?: string;
}

/** ListCallsResponse is a page of people. */
export interface ListCallsResponse {
  /** The people, those not reached first, then by the day on which they last had it, newest first. */
  calls?: Call[];
  /** How many people there are, over all pages. */
  people?: number;
  /** How many of them were reached. */
  reached?: number;
  /** Asks for the next page; empty means no more pages. */
  next_page_token?: string;
  /** When this was answered, by the server's clock. */
  as_of?: string;
}

/** Call is a person to be reached. */
export interface Call {
  /** The patient's record; of linked records the one that had the lot last. */
  patient_id?: string;
  /** The other records of the same person. */
  linked_patient_ids?: string[];
  /** The name. */
  name?: PersonName;
  /** How the person is reached. */
  contact?: Contact;
  /** The language that the person reads; empty when not asked. */
  language?: string;
  /** The day on which the person last had the lot; absent when no day is recorded. */
  last_on?: Date;
  /** The clinics where. */
  clinic_ids?: string[];
  /** How many sessions with it. */
  sessions?: number;
  /** The attempts about this lot, oldest first, those taken back among them. */
  attempts?: ContactMade[];
  /** True when an attempt that stands says that the person was reached. */
  reached?: boolean;
  /** True when the person is recorded as dead. */
  deceased?: boolean;
}

/** NoteCallRequest writes down an attempt. */
export interface NoteCallRequest {
  /** Names the request: the same again is done once. A random UUID. */
  request_id?: string;
  /** The patient. */
  patient_id?: string;
  /** The lot's record. */
  lot_id?: string;
  /** How, such as telephone, mail or letter. */
  way?: string;
  /** With what result. */
  result?: string;
  /** True when the person was told. */
  reached?: boolean;
}

/** NoteCallResponse is what was written. */
export interface NoteCallResponse {
  /** The attempt. */
  attempt?: ContactMade;
  /** True when the same request was done before. */
  already_applied?: boolean;
}

/** UndoCallRequest takes an attempt back. */
export interface UndoCallRequest {
  /** Names the request: the same again is done once. A random UUID. */
  request_id?: string;
  /** The patient. */
  patient_id?: string;
  /** The attempt's element id. */
  contact_id?: string;
  /** Why. */
  reason?: string;
}

/** UndoCallResponse is the attempt after. */
export interface UndoCallResponse {
  /** The attempt. */
  attempt?: ContactMade;
  /** True when the same request was done before. */
  already_applied?: boolean;
}

/** GetLikePatientsRequest describes a person, by a record or by what is known before one is made. */
export interface GetLikePatientsRequest {
  /** The patient whose twins are looked for; absent while there is no record. What is given beside it is looked for too. */
  patient_id?: string;
  /** The name; empty when not known. */
  name?: string;
  /** The date of birth; absent when not known. */
  born_on?: Date;
  /** Numbers that name the person. */
  identifiers?: IdentifierValue[];
  /** The most to answer; 0 means 20. */
  limit?: number;
}

/** LikePatient is a record that may be of the same person. */
export interface LikePatient {
  /** The patient. */
  patient?: PatientSummary;
  /** Why, the strongest first. */
  reasons?: LikeReason[];
  /** True when the two are linked already. */
  linked?: boolean;
}

/** GetLikePatientsResponse is the records that may be of the same person, the strongest reason first. */
export interface GetLikePatientsResponse {
  /** The records. */
  patients?: LikePatient[];
}

/** LinkPatientsRequest links two records. */
export interface LinkPatientsRequest {
  /** Names the request: the same again is done once. A random UUID. */
  request_id?: string;
  /** The record that the link is written into. */
  patient_id?: string;
  /** The other record of the same person. */
  other_patient_id?: string;
  /** On what grounds. */
  grounds?: string;
}

/** LinkPatientsResponse is the record after. */
export interface LinkPatientsResponse {
  /** The record that the link was written into. */
  view?: RecordView;
  /** The link's element id. */
  link_id?: string;
  /** True when the same request was done before. */
  already_applied?: boolean;
}

/** UnlinkPatientsRequest takes a link back. */
export interface UnlinkPatientsRequest {
  /** Names the request: the same again is done once. A random UUID. */
  request_id?: string;
  /** One of the two records. */
  patient_id?: string;
  /** The other. */
  other_patient_id?: string;
  /** Why they are two persons. */
  reason?: string;
}

/** UnlinkPatientsResponse is the record after. */
export interface UnlinkPatientsResponse {
  /** The record that the link stands in. */
  view?: RecordView;
  /** True when the same request was done before. */
  already_applied?: boolean;
}

/** LikeReason is why two records may be of one person. */
export type LikeReason =
  /** Not stated; never answered. */
  | "LIKE_REASON_UNSPECIFIED"
  /** The same number of the same kind and issuer. */
  | "LIKE_REASON_SAME_IDENTIFIER"
  /** The same date of birth, and the same name. */
  | "LIKE_REASON_SAME_NAME_AND_BIRTH"
  /** The same date of birth, and a name written almost alike or with a part more. */
  | "LIKE_REASON_LIKE_NAME_AND_BIRTH";

/** TraceLotRequest names a lot. */
export interface TraceLotRequest {
  /** Only sessions on or after this day; absent means all. */
  from?: Date;
  /** Only sessions on or before this day; absent means all. */
  until?: Date;
  /** The most exposures to answer; 0 means 100. */
  page_size?: number;
  /** The next_page_token of the answer before; empty for the first page. */
  page_token?: string;
  /** The lot's record. */
  lot_id?: string;
  /** What the pack says, for a lot without a record. */
  label?: LotLabel;
  /**
   * True finds also numbers that may be this one mistyped: letters that look alike (O and 0; I, L and 1), spaces and hyphens, or one character more, less,
   * other or swapped with its neighbour. Each is marked and none is counted as the lot.
   */
  also_like?: boolean;
  /** Devices that have not exchanged since this moment are listed; absent means since the recall or, without one, since today began. */
  silent_since?: string;
}

/** LotLabel is a lot by what is printed. */
export interface LotLabel {
  /** The batch number. */
  number?: string;
  /** The product; absent for a diluent or any. */
  product?: string;
  /** The kind of diluent, to trace a lot of it; absent for a toxin or any. */
  diluent?: string;
}

/** TraceLotResponse is where a lot went. */
export interface TraceLotResponse {
  /** The lot's record; absent when it has none. */
  lot?: Lot;
  /** Who had it, newest day first. */
  exposures?: Exposure[];
  /** Its vials and where they are; on the first page only. */
  vials?: TracedVial[];
  /** The devices that may hold more and have not exchanged since the recall or, without one, since today began; on the first page only. */
  silent_devices?: SilentDevice[];
  /** How many patients had it, over all pages; those of lots that only look like it are not among them. Linked records are one patient. */
  patient_count?: number;
  /** Asks for the next page; empty means no more pages. */
  next_page_token?: string;
  /** How many more patients had a lot whose number only looks like it, over all pages. */
  like_patient_count?: number;
  /** When this was answered, by the server's clock. What devices charted and did not send is not in it. */
  as_of?: string;
  /** The server's commit sequence that the answer stands on. */
  sequence?: string;
  /** The moment since which silent_devices have not exchanged. */
  silent_since?: string;
  /** Numbers that were entered and only look like the one asked for, ascending. */
  like_numbers?: string[];
}

/** Exposure is a patient who had a lot in one session. */
export interface Exposure {
  /** The patient. */
  patient_id?: string;
  /** The patient's name. */
  name?: PersonName;
  /** How the patient is reached. */
  contact?: Contact;
  /** The session. */
  session_id?: string;
  /** The day. */
  on?: Date;
  /** The clinic. */
  clinic_id?: string;
  /** The vials. */
  vial_ids?: string[];
  /** The injections; empty when the vial was pierced for the session and nothing was recorded as given. */
  givings?: ExposedGiving[];
  /** True when the lot is that of the diluent. */
  through_diluent?: boolean;
  /** The number as it was entered, when it differs from the one asked for; empty when it does not. */
  matched_number?: string;
  /** What was done to reach the patient about this lot. */
  contacts_made?: ContactMade[];
  /** How the number that was entered stands to the one asked for. */
  match?: LotMatch;
  /** Other records of the same person. */
  linked_patient_ids?: string[];
}

/** ExposedGiving is an injection with the lot. */
export interface ExposedGiving {
  /** The injection. */
  injection_id?: string;
  /** The giving. */
  giving_id?: string;
  /** The muscle. */
  muscle?: string;
  /** The side, the patient's own; absent when none was recorded. */
  side?: Side;
  /** The product. */
  product?: string;
  /** The dose, in units; empty when it is in conflict. */
  dose_units?: string;
  /** True when what was given is in conflict; dose says from where to where. */
  in_conflict?: boolean;
  /** The dose, from the least to the most that it can be. */
  dose?: DoseSpan;
}

/** TracedVial is a vial of a lot. */
export interface TracedVial {
  /** The vial. */
  vial_id?: string;
  /** The number written on it; empty when none. */
  short_number?: string;
  /** Its serial number; empty when none. */
  serial?: string;
  /** The clinic that has it. */
  clinic_id?: string;
  /** Where it is kept; empty when it is not known. */
  place?: string;
  /** What should be left, in millilitres; absent when unopened or unknown. */
  left_ml?: string;
  /** True when it was prepared or pierced. */
  opened?: boolean;
  /** True when it is used up or gone. */
  discarded?: boolean;
  /** True when its number only looks like the one asked for. */
  number_similar?: boolean;
  /** The number as it was entered. */
  number?: string;
  /** How that stands to the one asked for. */
  match?: LotMatch;
  /** The product. */
  product?: string;
  /** True when the lot is that of the diluent. */
  through_diluent?: boolean;
  /** How many sessions it was used for. */
  sessions?: number;
  /** True when it must not be used. */
  blocked?: boolean;
}

/** ListReviewsDueRequest says which reviews. Conditions are joined by and. */
export interface ListReviewsDueRequest {
  /** Only this clinic's; absent for all. */
  clinic_id?: string;
  /** Only those of this injector's sessions; absent for all. */
  responsible_id?: string;
  /** Only those that fall due on or before this day; absent means today, by the clinic's calendar. */
  until?: Date;
  /** Only those of sessions on or after this day; absent means a year before until. */
  treated_from?: Date;
  /** The most to answer; 0 means 100. */
  page_size?: number;
  /** The next_page_token of the answer before; empty for the first page. */
  page_token?: string;
}

/** ListReviewsDueResponse is a page of reviews. */
export interface ListReviewsDueResponse {
  /** The reviews, longest overdue first. */
  reviews?: ReviewDue[];
  /** Asks for the next page; empty means no more pages. */
  next_page_token?: string;
}

/** ReviewDue is a review that is due. */
export interface ReviewDue {
  /** The session to look back on. */
  session_id?: string;
  /** The patient. */
  patient?: PatientSummary;
  /** How the patient is reached. */
  contact?: Contact;
  /** When it is due; from the session, or from the formulary's rule where none was set. */
  review?: ReviewDate;
  /** The days since its last day; 0 or less while it is not overdue. */
  overdue_days?: number;
  /** The appointment booked for it; empty when none is. */
  appointment_id?: string;
  /** The regions that were treated. */
  regions?: string[];
  /** What each side had, by product and muscle. */
  given?: TraceSideGiven[];
  /** The day of the session. */
  treated_on?: Date;
  /** The staff id of the injector in charge; empty when none is recorded. */
  responsible_id?: string;
  /** The clinic. */
  clinic_id?: string;
  /** True when its last day has passed. */
  overdue?: boolean;
  /** The formulary's rule that the days come from; empty when they were set in the session. */
  rule_code?: string;
}

/** SideGiven is what a muscle had on one side in one session. */
export interface TraceSideGiven {
  /** The product. */
  product?: string;
  /** The muscle; empty when none was recorded. */
  muscle?: string;
  /** The side, the patient's own; absent when none was recorded. */
  side?: Side;
  /** How much. */
  dose?: DoseSpan;
}

/** ExportPatientRequest names a patient and a form. */
export interface ExportPatientRequest {
  /** The patient, linked records included. */
  patient_id?: string;
  /** The form. */
  format?: ExportFormat;
  /** True includes photographs that the patient's consent covers. */
  include_photos?: boolean;
  /** Why; it is audited. */
  reason?: string;
  /** The most bytes of a piece; 0 means 1,000,000. */
  page_size?: number;
  /** The next_page_token of the answer before; empty for the first piece. */
  page_token?: string;
}

/** ExportPatientResponse is a piece of an export. The pieces in order are the file. */
export interface ExportPatientResponse {
  /** The media type of the file. */
  media_type?: string;
  /** A name for the file, without patient data. */
  file_name?: string;
  /** The piece. */
  data?: string;
  /** The size of the file. */
  total_bytes?: string;
  /** SHA-256 of the file, 32 bytes. */
  sha256?: string;
  /** Asks for the next piece; empty means no more. */
  next_page_token?: string;
}

/** LotMatch is how a number that was entered stands to the lot asked for. */
export type LotMatch =
  /** Not stated; never answered. */
  | "LOT_MATCH_UNSPECIFIED"
  /** It is the lot's number, or names its record. */
  | "LOT_MATCH_SAME"
  /** It is a number that a person said means this lot. */
  | "LOT_MATCH_ALIAS"
  /** It only looks like it. Nobody said that it is this lot. */
  | "LOT_MATCH_LIKE";

/** ExportFormat is the form of an export. */
export type ExportFormat =
  /** Not stated; rejected on write. */
  | "EXPORT_FORMAT_UNSPECIFIED"
  /** A treatment record to print. */
  | "EXPORT_FORMAT_DOCUMENT_PDF"
  /** FHIR R4 resources, one a line. */
  | "EXPORT_FORMAT_FHIR_R4_NDJSON"
  /** Tables as RFC 4180, safe against formulas, in one archive. */
  | "EXPORT_FORMAT_CSV"
  /** Our own records as JSON, with their history, one a line. */
  | "EXPORT_FORMAT_RECORDS_JSON";
