// The core as the screens see it. Whatever decides a dose, a finding, a merge, a digest or a signature happens behind this interface, in WebAssembly;
// screens show what it answers and keep no state of a record of their own.
//
// Every call that changes something resolves when the change is on the disk of this tablet, and not before: only then may a screen say "Saved on this
// tablet". When it rejects, nothing was changed.

import type { ReadonlySignal } from "@preact/signals";
import type {
  AdviseDilutionRequest,
  AdviseDilutionResponse,
  CheckSessionResponse,
  CompareProductsRequest,
  CompareProductsResponse,
  Conflict,
  Date as Day,
  EditRecordResponse,
  Finding,
  FormularyEdition,
  GetAsymmetryResponse,
  GetToxinHistoryResponse,
  HeldRecordEdit,
  PatientSummary,
  Place,
  PlanDrawRequest,
  PlanDrawResponse,
  PrepareRequest,
  PrepareResponse,
  Reason,
  Record,
  RecordKey,
  RecordKind,
  RecordView,
  Role,
  SessionFacts,
  SettleConflictRequest,
  Side,
  SignatureMeaning,
  SignSessionResponse,
} from "./messages";

/** Core is one unlocked tablet with everything it holds. */
export interface Core {
  /** Who works on the tablet now. */
  readonly person: ReadonlySignal<Person>;
  /** The tablet itself. */
  readonly device: ReadonlySignal<Device>;
  /** Grows whenever any record may look different: read again what is on the screen. useRead does. */
  readonly revision: ReadonlySignal<number>;
  /** How this tablet stands with the server. */
  readonly sync: ReadonlySignal<SyncState>;

  /**
   * Asks the server itself, as whoever is signed in: procedure is "needlebook.trace.v1.TraceService/TraceLot", request and answer are its messages. Nothing of
   * it is kept here. A refusal is a CoreError; Away and SignedOut say that there was no answer.
   */
  server<A>(procedure: string, request: unknown): Promise<A>;

  /** A record with its conflicts, held edits and late entries; null when this tablet holds nothing of it. */
  view(key: RecordKey): Promise<RecordView | null>;
  /** The records of a kind, by id. Patients and sessions have lists of their own. */
  list(request: ListRequest): Promise<RecordView[]>;
  /** Sessions, newest day first. */
  sessions(request: SessionsRequest): Promise<RecordView[]>;
  /** A day's list: appointments by time, then sessions of the day without one. */
  day(request: DayRequest): Promise<DayLine[]>;
  /** Patients of the whole organisation: those held whole and those of the safety index; the best match first. */
  patients(request: PatientsRequest): Promise<PatientLine[]>;
  /** One patient's line; null when this tablet has never heard of her. */
  patient(patient_id: string): Promise<PatientLine | null>;
  /** Fields with more than one value: of a record, of a patient's records, or all of them. */
  conflicts(request: { key?: RecordKey; patient_id?: string }): Promise<Conflict[]>;
  /** Edits that the server holds back or that wait there, oldest first. */
  held(request: { include_judged?: boolean }): Promise<HeldRecordEdit[]>;
  /** Values that a restore of the server lost, for a person to take or leave. */
  recovered(): Promise<RecoveredValue[]>;

  /**
   * Makes one edit and resolves when it is on the disk. The mask names registers (order_id, injections[ID].planned) or whole elements
   * (injections[ID]); context is that of the view that was edited from, and is left out for a new record.
   */
  edit(request: EditRequest): Promise<EditRecordResponse>;
  /** Settles a conflict with an edit that saw all of its values. */
  settle(request: Omit<SettleConflictRequest, "request_id">): Promise<EditRecordResponse>;
  /** Voids a record, or the element that path names; nothing given is ever deleted. */
  void(request: { key: RecordKey; path?: string; reason: string }): Promise<EditRecordResponse>;
  /** Signs exactly what the view of this context and digest showed; what came since is refused with STALE_READ and is to be looked at first. */
  sign(request: SignRequest): Promise<SignSessionResponse>;
  /** Writes a recovered value again. */
  take(ref: string): Promise<EditRecordResponse>;
  /** Forgets a recovered value that a person decided against. */
  dismiss(ref: string): Promise<void>;
  /** Asks for a patient's whole records at the next exchange. */
  hold(patient_id: string): Promise<void>;
  /** Asks to hold a patient's records no longer. Edits that the server lacks stay. */
  unhold(patient_id: string): Promise<void>;

  prepare(request: PrepareRequest): Promise<PrepareResponse>;
  planDraw(request: PlanDrawRequest): Promise<PlanDrawResponse>;
  adviseDilution(request: AdviseDilutionRequest): Promise<AdviseDilutionResponse>;
  compareProducts(request: CompareProductsRequest): Promise<CompareProductsResponse>;
  /**
   * The findings of a session, from everything beside it that this tablet holds. as_of is now when it is left out. With facts, those are judged
   * instead: for what is planned and not yet saved.
   */
  checkSession(request: { session_id: string; as_of?: string } | { facts: SessionFacts; as_of?: string }): Promise<CheckSessionResponse>;
  /** What a patient has had, those of linked records included. on is today by the tablet's calendar when it is left out. */
  toxinHistory(request: { patient_id: string; from?: Day; until?: Day; on?: Day }): Promise<GetToxinHistoryResponse>;
  /** Right beside left over a patient's treatments. */
  asymmetry(request: { patient_id: string; from?: Day; until?: Day; muscles?: string[] }): Promise<GetAsymmetryResponse>;
  /** What only a merge can see of a session, a patient or a vial. */
  findings(key: RecordKey): Promise<Finding[]>;

  /** The edition of the formulary that this tablet reckons with. */
  formulary(): Promise<FormularyEdition>;
  /** Regions, areas, muscles and frames, from above. */
  anatomy(): Promise<Anatomy>;
  /** Where landmarks and the zones of a muscle are to be drawn in a frame on one side, in millimetres of the patient. */
  drawing(request: { frame: string; side: Side; muscle?: string; product?: string; scale?: Scale }): Promise<Drawing>;
  /** How far a place is from the edge of each zone of its muscle. */
  locate(request: { place: Place; side?: Side; muscle: string; product?: string }): Promise<Located>;
  /** Where the mirror puts a place on the other side. */
  mirror(place: Place): Promise<Place>;

  /** A fresh random id, for a new record or element. */
  newId(): string;
  /** Keeps what is half typed, encrypted, under a name such as "visit/ID/note"; an empty value forgets it. It is on the disk when this resolves. */
  keep(name: string, value: string): Promise<void>;
  /** What was kept under a name; empty when nothing was. */
  kept(name: string): string;
  /** Says that a visit is open or closed: updates wait for that. */
  visiting(open: boolean): void;
  /** Exchanges with the server now. */
  syncNow(): void;
  /** Locks the screen; what is half typed stays. */
  lock(): void;
}

/** Person is who works on the tablet. */
export interface Person {
  staff_id: string;
  name: string;
  sign_in_name: string;
  /** Her roles over all clinics, as the staff record that this tablet holds says; empty when it holds none. */
  roles: Role[];
  /** True while she has a sign-in that the server would take. Work goes on without one; only the exchange stops. */
  signed_in: boolean;
}

/** Device is the tablet as it was enrolled. */
export interface Device {
  device_id: string;
  label: string;
  organisation_id: string;
  organisation_name: string;
  clinic_id: string;
  /** The fingerprint of its key, to compare by eye. */
  key_fingerprint: string;
}

/** The four plain states of the tablet's work. */
export type SyncWord = "saved" | "on_server" | "backed_up" | "needs_you";

/** SyncState is how the tablet stands with the server. */
export interface SyncState {
  /** saved: edits wait to go up. on_server: the server has all. backed_up: its oldest backup holds all. needs_you: see needs. */
  word: SyncWord;
  /** The plain sentence for word: "Saved on this tablet", "On the clinic server", "Backed up" or "Needs you". */
  text: string;
  /** Edits that are not on the server. */
  unsent: number;
  /** True while an exchange runs. */
  busy: boolean;
  /** True when the server did not answer at the last try. */
  away: boolean;
  /** When an exchange last ended in step with the server, milliseconds since 1970; 0 for never. */
  last_unix_ms: number;
  /** Why a person is needed, each a plain sentence with what to do; empty otherwise. */
  needs: Need[];
}

/** Need is something that waits for a person. */
export interface Need {
  kind: "sign_in" | "held" | "conflict" | "recovered" | "refused" | "storage" | "clock";
  text: string;
}

export interface EditRequest {
  record: Record;
  update_mask: string[];
  context?: string;
}

export interface SignRequest {
  session_id: string;
  context: string;
  digest: string;
  meaning: SignatureMeaning;
  statement: string;
  role?: Role;
}

export interface ListRequest {
  kind: RecordKind;
  clinic_id?: string;
  patient_id?: string;
  /** Only those of this day, by the clinic's calendar: appointments and day closes. */
  on?: Day;
}

export interface SessionsRequest {
  patient_id?: string;
  clinic_id?: string;
  responsible_id?: string;
  from?: Day;
  until?: Day;
  unsigned_only?: boolean;
  /** The most to answer; 50 when it is left out. */
  most?: number;
}

export interface DayRequest {
  on: Day;
  clinic_id?: string;
}

/** DayLine is one line of a day's list. */
export interface DayLine {
  patient: PatientLine;
  appointment?: RecordView;
  session?: RecordView;
}

export interface PatientsRequest {
  text?: string;
  born_on?: Day;
  identifier?: string;
  /** The most to answer; 20 when it is left out. */
  most?: number;
}

/** PatientLine is what a list shows of a patient. */
export interface PatientLine extends PatientSummary {
  /** True when the whole record is on this tablet; otherwise this is all that it knows, and it is no all-clear. */
  whole?: boolean;
  /** True when a field that this is made of is in conflict. */
  in_conflict?: boolean;
}

/** RecoveredValue is a value that a restore of the server lost. */
export interface RecoveredValue {
  ref: string;
  key: RecordKey;
  path: string;
  value_json: string;
  cleared: boolean;
  staff_id: string;
  staff_name: string;
  authored_at_unix_ms: number;
}

/** Anatomy is what is charted on. */
export interface Anatomy {
  regions: { code: string; name: string }[];
  areas: { code: string; name: string; region: string; muscles: string[]; part: string }[];
  muscles: AnatomyMuscle[];
  frames: AnatomyFrame[];
}

export interface AnatomyMuscle {
  code: string;
  name: string;
  nature: "paired" | "midline" | "across";
  region: string;
  frame: string;
  action: string;
  /** True for one that is treated; the others are here because a spread weakens them. */
  target: boolean;
  parts: string[];
}

export interface AnatomyFrame {
  code: string;
  name: string;
  /** True for a frame that exists on the right and on the left, each with an origin of its own. */
  sided: boolean;
  origin: string;
  flat: boolean;
  measures: { code: string; name: string; between: string; axis: "x" | "y"; default_mm: string }[];
}

/** Scale is what was measured on the patient to scale a frame. */
export interface Scale {
  measure: string;
  measured_mm: string;
}

/** Outline is a landmark or a zone's edge as it is drawn: x toward the patient's left, y up, in mm from the frame's origin. */
export interface Outline {
  code: string;
  name: string;
  kind: "point" | "level" | "upright" | "path";
  points: { x_mm: string; y_mm: string }[];
  /** Above zero for a circle round a point, or a line at that distance from a path. */
  radius_mm: string;
}

export interface Drawing {
  landmarks: Outline[];
  /** The zones' edges; those that need a measurement that was not taken are in unmeasured instead. */
  edges: (Outline & { zone: string; sense: "keep_out" | "keep_in"; level: string; bound_mm: string })[];
  unmeasured: { zone: string; reason: string }[];
}

export interface Located {
  side: Side;
  /** True when the place was said to be on another side than it is. */
  crossed: boolean;
  midline_mm: string;
  readings: {
    zone: string;
    name: string;
    sense: "keep_out" | "keep_in";
    level: string;
    distance_mm: string;
    /** Positive inside the zone's rule, negative outside, zero on its edge. */
    margin_mm: string;
    inside: boolean;
    /** True when the answer rests on the generic model, because what would have scaled it was not measured. */
    by_default: boolean;
  }[];
  unmeasured: { zone: string; reason: string }[];
}

/** Fault is one reason why the core, the tablet or the server refused something. */
export interface Fault {
  reason: Reason;
  /** The field, as the request names it; empty when it is about no field. */
  field: string;
  /** A sentence for a person: what was read and what would be right. */
  text: string;
  /** What to do. */
  fix: string;
}

/** CoreError is a refusal. Nothing was changed. */
export class CoreError extends Error {
  readonly faults: readonly Fault[];

  constructor(faults: readonly Fault[]) {
    super(faults.map((f) => f.text).join("; "));
    this.name = "CoreError";
    this.faults = faults;
  }

  /** Whether it was refused for a reason. */
  is(reason: Reason): boolean {
    return this.faults.some((f) => f.reason === reason);
  }
}
