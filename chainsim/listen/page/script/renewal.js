// @ts-check
/** Parts of the page that are taken from a page written anew. */

const SHOWN = ["heading", "versions", "details"];

/**
 * Take up what stands in the new page; what was folded out stays so.
 * @param {Document} written
 */
export function renewShown(written) {
  const opened = openDetails();
  document.title = written.title;
  for (const id of SHOWN) renewSection(id, written);
  for (const details of allDetails()) details.open = opened.has(nameOf(details));
}

/**
 * Put the content of the new page's section into this one's.
 * @param {string} id
 * @param {Document} written
 */
export function renewSection(id, written) {
  const fresh = written.getElementById(id);
  const section = document.getElementById(id);
  if (!fresh || !section) return;
  section.hidden = fresh.hidden;
  section.replaceChildren(...fresh.childNodes);
}

function openDetails() {
  return new Set(
    allDetails()
      .filter(({ open }) => open)
      .map(nameOf),
  );
}

/** @returns {HTMLDetailsElement[]} */
function allDetails() {
  return [...document.querySelectorAll("#details details")];
}

/** Of which version, without its number, and what of it. */
function nameOf(details) {
  const heading = details.closest("article")?.querySelector("h3")?.lastChild?.textContent?.trim();
  return JSON.stringify([heading, details.querySelector("summary")?.textContent]);
}
