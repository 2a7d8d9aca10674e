// The line that says that a new version waits. It takes over on a tap, and never while a visit is open.

import { open, ready, takeUpdate } from "../update";

export function Update() {
  if (!ready.value) return null;
  return (
    <div class="message" role="status" data-update={ready.value}>
      <span>A new version of Needlebook is on this tablet. {open.value && "Close the visit to change to it."}</span>
      {!open.value && <button type="button" class="button" onClick={() => void takeUpdate()}>Change now</button>}
    </div>
  );
}
