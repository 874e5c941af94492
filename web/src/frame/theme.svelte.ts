export type Choice = "system" | "light" | "dark";

const KEY = "soundline.theme";
const asked = matchMedia("(prefers-color-scheme: dark)");

function stored(): Choice {
  try {
    const found = localStorage.getItem(KEY);
    return found === "light" || found === "dark" ? found : "system";
  } catch {
    return "system";
  }
}

/** Light or dark: as the system says, until the reader chooses. `now` is what is shown. */
class Theme {
  choice = $state<Choice>(stored());
  system = $state<"light" | "dark">(asked.matches ? "dark" : "light");

  constructor() {
    asked.addEventListener("change", () => {
      this.system = asked.matches ? "dark" : "light";
      this.apply();
    });
    this.apply();
  }

  get now(): "light" | "dark" {
    return this.choice === "system" ? this.system : this.choice;
  }

  turn(): void {
    this.choice = this.now === "dark" ? "light" : "dark";
    try {
      localStorage.setItem(KEY, this.choice);
    } catch {
      // Then it lasts as long as the page.
    }
    this.apply();
  }

  apply(): void {
    document.documentElement.dataset["theme"] = this.now;
  }
}

export const theme = new Theme();

/** A colour of the sheet, for what is drawn on a canvas. */
export function colour(name: string): string {
  return getComputedStyle(document.documentElement).getPropertyValue(`--${name}`).trim();
}
