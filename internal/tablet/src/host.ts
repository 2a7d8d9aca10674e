// The core as the screens have it: an unlocked tablet.

import { type ReadonlySignal, type Signal, signal } from "@preact/signals";
import { CoreError } from "./core";
import type {
  Anatomy, Core, DayLine, DayRequest, Device, Drawing, EditRequest, Located, PatientLine, Person, RecoveredValue, SignRequest, SyncState,
} from "./core";
import type { Disk } from "./disk";
import { Exchange } from "./exchange";
import type { Identity } from "./identity";
import { newEditId, newId } from "./ids";
import type {
  AdviseDilutionResponse, CheckSessionResponse, CompareProductsResponse, Conflict, Date as Day, EditRecordResponse, Finding, FormularyEdition,
  GetAsymmetryResponse, GetToxinHistoryResponse, HeldRecordEdit, Place, PlanDrawResponse, PrepareResponse, RecordView, Role, SignSessionResponse,
} from "./messages";
import type { Notes } from "./notes";
import { faultsOf, type People } from "./people";
import { asked, Refusal } from "./server";

/** What the host needs of the shell. */
export interface Shell {
  lock(): void;
  visiting(open: boolean): void;
  /** The server said that this tablet is revoked. */
  revoked(): Promise<void>;
}

export class TabletCore implements Core {
  readonly person: Signal<Person>;
  readonly device: ReadonlySignal<Device>;
  readonly revision: Signal<number>;
  readonly sync: ReadonlySignal<SyncState>;
  readonly exchange: Exchange;

  constructor(
    private readonly disk: Disk,
    private readonly notes: Notes,
    private readonly people: People,
    identity: Identity,
    revision: Signal<number>,
    private readonly shell: Shell,
  ) {
    this.revision = revision;
    this.device = signal<Device>({ ...identity });
    this.person = signal<Person>(this.who([]));
    this.exchange = new Exchange(disk, notes, people, identity, () => shell.revoked());
    this.sync = this.exchange.state;
  }

  /** Begins to work: who works, with her roles, and the exchange. */
  async start(): Promise<void> {
    await this.readRoles();
    await this.exchange.start();
  }

  /** Whoever works changed, or her roles did. */
  async readRoles(): Promise<void> {
    const view = await this.view({ kind: "RECORD_KIND_STAFF", record_id: this.people.now.staff_id });
    const roles = (view?.record?.staff?.positions ?? []).flatMap((p) => (p.ended ? [] : (p.assignment?.roles ?? [])));
    this.person.value = this.who([...new Set(roles)]);
  }

  /** Forgets the sign-in of whoever works, here. */
  async forgetSignIn(): Promise<void> {
    Object.assign(this.people.now, { access: "", refresh: "", request: "" });
    await this.people.save();
  }

  private who(roles: Role[]): Person {
    const p = this.people.now;
    return { staff_id: p.staff_id, name: p.name, sign_in_name: p.sign_in_name, roles, signed_in: p.refresh !== "" };
  }

  private async ask<T>(method: string, request: unknown): Promise<T> {
    return (await this.disk.call(method, request)).json as T;
  }

  /** Asks for something that is judged by the clock. */
  private askNow<T>(method: string, request: unknown): Promise<T> {
    return this.ask<T>(method, { at_unix_ms: Date.now(), clock: this.exchange.clock(), request });
  }

  /** Makes an edit in the name of whoever works. */
  private async act<T>(method: string, request: unknown, also: Record<string, unknown> = {}): Promise<T> {
    const made = await this.ask<T>(method, {
      staff_id: this.people.now.staff_id, at_unix_ms: Date.now(), edit_id: newEditId(), request, ...also,
    });
    this.exchange.edited();
    return made;
  }

  async server<A>(procedure: string, request: unknown): Promise<A> {
    try {
      return await this.people.signed((token) => asked<A>(procedure, request, token));
    } catch (cause) {
      if (!(cause instanceof Refusal)) throw cause;
      throw new CoreError(await faultsOf(this.disk, cause));
    }
  }

  view = (key: Parameters<Core["view"]>[0]) => this.ask<RecordView | null>("view", key);
  list = (request: Parameters<Core["list"]>[0]) => this.ask<RecordView[]>("list", request);
  conflicts = (request: Parameters<Core["conflicts"]>[0]) => this.ask<Conflict[]>("conflicts", request);
  held = (request: Parameters<Core["held"]>[0]) => this.ask<HeldRecordEdit[]>("held", request);
  recovered = () => this.ask<RecoveredValue[]>("recovered", {});
  patient = (patient_id: string) => this.ask<PatientLine | null>("patient", { patient_id });
  findings = (key: Parameters<Core["findings"]>[0]) => this.ask<Finding[]>("findings", key);

  sessions({ most, ...request }: Parameters<Core["sessions"]>[0]): Promise<RecordView[]> {
    return this.ask("sessions", most ? { ...request, page_size: most } : request);
  }

  patients({ most, ...request }: Parameters<Core["patients"]>[0]): Promise<PatientLine[]> {
    return this.ask("patients", most ? { ...request, page_size: most } : request);
  }

  async day({ on, clinic_id }: DayRequest): Promise<DayLine[]> {
    const request = { kind: "RECORD_KIND_APPOINTMENT", on, ...(clinic_id ? { clinic_id } : {}) };
    const lines = await this.ask<(DayLine & { begins_at?: string; time_zone?: string })[]>("day", request);
    return lines.filter((l) => !l.begins_at || isOn(l.begins_at, l.time_zone, on));
  }

  edit = (request: EditRequest) => this.act<EditRecordResponse>("edit", request);
  settle = (request: Parameters<Core["settle"]>[0]) => this.act<EditRecordResponse>("settle", request);
  void = (request: Parameters<Core["void"]>[0]) => this.act<EditRecordResponse>("void", request);
  take = (ref: string) => this.act<EditRecordResponse>("take", { ref });

  sign({ role, ...request }: SignRequest): Promise<SignSessionResponse> {
    return this.act("sign", request, role ? { role } : {});
  }

  async dismiss(ref: string): Promise<void> {
    await this.ask("dismiss", { ref });
  }

  async hold(patient_id: string): Promise<void> {
    await this.ask("hold", { patient_id });
    this.exchange.kick();
  }

  async unhold(patient_id: string): Promise<void> {
    await this.ask("unhold", { patient_id });
    this.exchange.kick();
  }

  prepare = (request: Parameters<Core["prepare"]>[0]) => this.ask<PrepareResponse>("prepare", request);
  planDraw = (request: Parameters<Core["planDraw"]>[0]) => this.ask<PlanDrawResponse>("plan_draw", request);
  adviseDilution = (request: Parameters<Core["adviseDilution"]>[0]) => this.ask<AdviseDilutionResponse>("advise_dilution", request);
  compareProducts = (request: Parameters<Core["compareProducts"]>[0]) => this.ask<CompareProductsResponse>("compare_products", request);
  checkSession = (request: Parameters<Core["checkSession"]>[0]) => this.askNow<CheckSessionResponse>("check_session", request);
  asymmetry = (request: Parameters<Core["asymmetry"]>[0]) => this.askNow<GetAsymmetryResponse>("asymmetry", request);

  toxinHistory(request: Parameters<Core["toxinHistory"]>[0]): Promise<GetToxinHistoryResponse> {
    return this.askNow("toxin_history", { on: today(), ...request });
  }

  formulary = () => this.ask<FormularyEdition>("formulary", {});
  anatomy = () => this.ask<Anatomy>("anatomy", {});
  drawing = (request: Parameters<Core["drawing"]>[0]) => this.ask<Drawing>("drawing", request);
  locate = (request: Parameters<Core["locate"]>[0]) => this.ask<Located>("locate", request);
  mirror = (place: Place) => this.ask<Place>("mirror", place);

  newId = newId;
  keep = (name: string, value: string) => this.notes.set(`keep/${name}`, value);
  kept = (name: string) => this.notes.get(`keep/${name}`);
  visiting = (open: boolean) => this.shell.visiting(open);
  syncNow = () => this.exchange.kick();
  lock = () => this.shell.lock();
}

/** today is the day by the tablet's calendar. */
function today(): Day {
  const now = new Date();
  return { year: now.getFullYear(), month: now.getMonth() + 1, day: now.getDate() };
}

/** isOn says whether a moment is on a day by the calendar of a zone; a zone that this browser does not know is the tablet's own. */
function isOn(moment: string, zone: string | undefined, day: Day): boolean {
  const at = new Date(moment);
  let parts: Intl.DateTimeFormatPart[];
  const options: Intl.DateTimeFormatOptions = { year: "numeric", month: "numeric", day: "numeric" };
  try {
    parts = new Intl.DateTimeFormat("en", { ...options, timeZone: zone }).formatToParts(at);
  } catch {
    parts = new Intl.DateTimeFormat("en", options).formatToParts(at);
  }
  const part = (type: string) => Number(parts.find((p) => p.type === type)?.value);
  return part("year") === day.year && part("month") === day.month && part("day") === day.day;
}
