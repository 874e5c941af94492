const paper = matchMedia("print");

/** Whether the page is on its way to paper: then what is folded on the screen is told, too. */
class Print {
  now = $state(paper.matches);
  /** When it was printed. */
  at = $state(new Date());

  constructor() {
    paper.addEventListener("change", () => this.#is(paper.matches));
    // Before the picture of the page is taken; the query alone may come too late.
    window.addEventListener("beforeprint", () => this.#is(true));
    window.addEventListener("afterprint", () => this.#is(false));
  }

  #is(now: boolean): void {
    this.now = now;
    if (now) this.at = new Date();
  }
}

export const print = new Print();
