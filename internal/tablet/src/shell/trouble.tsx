// What is shown when the tablet cannot work: each case says what happened, what is safe, and what to do.

import { comeAnew, goOn, takeOver } from "../boot";
import { storageText } from "../exchange";
import { StoreError, type Trouble } from "../store";
import { Page } from "./page";

export function Starting() {
  return (
    <Page title="Needlebook" name="starting">
      <p role="status">Starting.</p>
    </Page>
  );
}

/** Elsewhere: another window of this browser has the tablet open. */
export function Elsewhere() {
  return (
    <Page title="Open in another window" name="elsewhere">
      <p>This tablet's records are open in another window, and two would get in each other's way. Nothing is lost.</p>
      <button type="button" class="button primary" onClick={() => void takeOver()}>Use it here</button>
    </Page>
  );
}

const titles: Record<Trouble, string> = {
  full: "No room left",
  closed: "The store was closed",
  newer: "The store was closed",
  damaged: "Part of the store is missing",
  unavailable: "No store",
};

export function Troubled({ trouble, cause }: { trouble: Trouble; cause?: string | undefined }) {
  return (
    <Page title={titles[trouble]} name={`trouble-${trouble}`}>
      <p role="alert">{storageText(new StoreError(trouble))}</p>
      <button type="button" class="button primary" onClick={() => location.reload()}>Open again</button>
      {cause && (
        <details>
          <summary>For whoever looks into it</summary>
          <p class="small">{cause}</p>
        </details>
      )}
    </Page>
  );
}

/** Lost: this browser was a tablet, and its store is gone. */
export function Lost() {
  return (
    <Page title="This tablet lost its storage" name="lost">
      <p role="alert">
        This browser was enrolled as a tablet of a clinic, and what it had saved is gone: the browser removed it, or somebody cleared it. What had reached the
        clinic server is safe there. What had not is lost, and the clinic should know.
      </p>
      <p>Tell an administrator, who revokes the old tablet and makes a new code.</p>
      <button type="button" class="button" onClick={() => void comeAnew()}>Enrol as a new tablet</button>
    </Page>
  );
}

/** Storage: the browser does not promise to keep what is saved. */
export function Storage({ free }: { free: number | undefined }) {
  return (
    <Page title="This browser may delete what is saved" name="storage">
      <p role="alert">
        Needlebook asked the browser to keep what this tablet saves, and the browser said no. It may then delete records that have not reached the clinic
        server.
      </p>
      <p>Install Needlebook on the home screen, open it from there, and ask again. {free !== undefined && `Free for it: ${room(free)}.`}</p>
      <div class="row">
        <button type="button" class="button primary" onClick={() => void goOn(false)}>Ask again</button>
        <button type="button" class="button" onClick={() => void goOn(true)}>Go on without the promise</button>
      </div>
    </Page>
  );
}

function room(bytes: number): string {
  return bytes >= 1e9 ? `${Math.floor(bytes / 1e8) / 10} GB` : `${Math.floor(bytes / 1e6)} MB`;
}
