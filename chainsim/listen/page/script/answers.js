// @ts-check
/** What was answered: kept while the page is open (and through a reload), and saved as a file. */

const ANSWERS_FORMAT = 1;

/**
 * Offer a file to be saved.
 * @param {string} name
 * @param {string} text
 * @param {string} mime
 */
export function saveFile(name, text, mime) {
  const address = URL.createObjectURL(new Blob([text], { type: mime }));
  const link = document.createElement("a");
  link.href = address;
  link.download = name;
  link.click();
  // At once would be too early: some browsers fetch it after the click has returned.
  setTimeout(() => URL.revokeObjectURL(address), 60_000);
}

/**
 * The answers given on a page, oldest first; tells "changed".
 *
 * @typedef {object} Answer
 * @property {"favourite" | "abx" | "ranking"} test
 * @property {string} started ISO time
 */
export class AnswerBook extends EventTarget {
  /** @param {{title: string, take: string}} page as it is now: a watched page may be given another title */
  constructor(page) {
    super();
    this.page = page;
    /** @type {Answer[]} */
    this.answers = this.recalled();
  }

  /** Where they are kept: all pages opened from disk may share one store. */
  get place() {
    const { title, take } = this.page;
    return JSON.stringify(["answers", ANSWERS_FORMAT, location.pathname, title, take]);
  }

  /** @param {Answer} answer */
  add(answer) {
    this.answers = [...this.answers, answer];
    this.keep();
  }

  forget() {
    this.answers = [];
    this.keep();
  }

  /** @returns {string} the answers file */
  asJson() {
    const { page, answers } = this;
    const saved = new Date().toISOString();
    const file = { format: ANSWERS_FORMAT, page: page.title, take: page.take, saved, answers };
    return `${JSON.stringify(file, null, 2)}\n`;
  }

  keep() {
    try {
      sessionStorage.setItem(this.place, JSON.stringify(this.answers));
    } catch {
      // No store, or a full one: they are kept as long as the page is open.
    }
    this.dispatchEvent(new Event("changed"));
  }

  /** @returns {Answer[]} */
  recalled() {
    try {
      const kept = JSON.parse(sessionStorage.getItem(this.place) ?? "[]");
      return Array.isArray(kept) ? kept : [];
    } catch {
      return [];
    }
  }
}
