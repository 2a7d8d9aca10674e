// Asking the server for a screen: one question, its answer or a sentence that says why there is none. Nothing of an answer is kept on the tablet.

import { useEffect, useRef, useState } from "preact/hooks";
import { CoreError, type Core } from "../core";
import { t } from "../i18n";
import { SignedOut } from "../people";
import { Away } from "../server";

const services = { trace: "needlebook.trace.v1.TraceService", chart: "needlebook.chart.v1.ChartService", access: "needlebook.access.v1.AccessService" } as const;

/** Procedure names a procedure of the server's, such as "trace/TraceLot". */
export type Procedure = `${keyof typeof services}/${string}`;

/** call asks once. */
export function call<A>(core: Core, procedure: Procedure, request: object): Promise<A> {
  const [service, method] = procedure.split("/") as [keyof typeof services, string];
  return core.server<A>(`${services[service]}/${method}`, request);
}

/** reasons says why there was no answer, in sentences for whoever works. */
export function reasons(cause: unknown): string[] {
  if (cause instanceof Away) return [t("desk.away")];
  if (cause instanceof SignedOut) return [t("desk.signed_out")];
  if (cause instanceof CoreError && cause.faults.length > 0) return cause.faults.map((f) => `${f.text} ${f.fix ?? ""}`.trim());
  return [t("desk.unknown")];
}

/** Asked is a question and what came of it. */
export interface Asked<A> {
  readonly value: A | undefined;
  /** Why there is no answer, or no newer one. */
  readonly trouble: readonly string[];
  readonly busy: boolean;
  /** Asks again. */
  readonly again: () => void;
}

/** useAsked asks when the screen opens and whenever deps change; null asks nothing. An answer to an older question is left aside. */
export function useAsked<A>(core: Core, procedure: Procedure, request: object | null, deps: readonly unknown[]): Asked<A> {
  const [state, setState] = useState<{ value: A | undefined; trouble: readonly string[]; busy: boolean }>({ value: undefined, trouble: [], busy: request !== null });
  const [round, setRound] = useState(0);
  const newest = useRef(0);
  const of = useRef<string>("");
  useEffect(() => {
    const mine = ++newest.current, about = JSON.stringify(request), same = about === of.current;
    of.current = about;
    if (!request) return setState({ value: undefined, trouble: [], busy: false });
    setState((old) => ({ value: same ? old.value : undefined, trouble: [], busy: true }));
    call<A>(core, procedure, request).then(
      (value) => mine === newest.current && setState({ value, trouble: [], busy: false }),
      (cause: unknown) => mine === newest.current && setState((old) => ({ value: old.value, trouble: reasons(cause), busy: false })),
    );
    return () => { newest.current++; };
  }, [round, ...deps]);
  return { ...state, again: () => setRound((n) => n + 1) };
}

/** Pages is a list that the server gives page by page. */
export interface Pages<A, R> extends Omit<Asked<A>, "value"> {
  readonly rows: readonly R[];
  /** The newest page whole, for what it says beside its rows. */
  readonly value: A | undefined;
  /** Asks for the next page; undefined when there is none. */
  readonly more: (() => void) | undefined;
}

/** usePages asks for a list and, when told, for what follows. */
export function usePages<A extends { next_page_token?: string }, R>(core: Core, procedure: Procedure, request: object | null, rows: (answer: A) => readonly R[] | undefined, deps: readonly unknown[]): Pages<A, R> {
  const [token, setToken] = useState("");
  const [before, setBefore] = useState<readonly R[]>([]);
  useEffect(() => { setToken(""); setBefore([]); }, deps);
  const asked = useAsked<A>(core, procedure, request && (token ? { ...request, page_token: token } : request), [token, ...deps]);
  const here = asked.value ? (rows(asked.value) ?? []) : [];
  const next = asked.value?.next_page_token;
  const again = () => { if (token) { setBefore([]); setToken(""); } else asked.again(); };
  return { ...asked, again, rows: [...before, ...here], more: next ? () => { setBefore([...before, ...here]); setToken(next); } : undefined };
}

/** Doing is something that is being done at the server, under a request_id that stays the same until it was answered. */
export interface Doing {
  readonly busy: boolean;
  readonly trouble: readonly string[];
  /** Does it; undefined when it was refused or not answered. */
  readonly run: <A>(procedure: Procedure, request: object) => Promise<A | undefined>;
}

/** useDoing does one thing at a time. Asked again after a lost answer, the same request is sent under the same id, so that it is done once. */
export function useDoing(core: Core): Doing {
  const [state, setState] = useState<{ busy: boolean; trouble: readonly string[] }>({ busy: false, trouble: [] });
  const last = useRef({ body: "", id: "" });
  const running = useRef(false);
  const run = async <A,>(procedure: Procedure, request: object): Promise<A | undefined> => {
    if (running.current) return undefined;
    running.current = true;
    const body = procedure + JSON.stringify(request);
    if (last.current.body !== body) last.current = { body, id: core.newId() };
    setState({ busy: true, trouble: [] });
    try {
      const answer = await call<A>(core, procedure, { ...request, request_id: last.current.id });
      last.current = { body: "", id: "" };
      setState({ busy: false, trouble: [] });
      core.syncNow();
      return answer;
    } catch (cause) {
      setState({ busy: false, trouble: reasons(cause) });
      return undefined;
    } finally {
      running.current = false;
    }
  };
  return { ...state, run };
}
