import { autocompletion, closeBrackets, closeBracketsKeymap, completionKeymap, type CompletionContext, type CompletionResult } from "@codemirror/autocomplete";
import { defaultKeymap, history, historyKeymap, indentLess, isolateHistory, insertTab, redo, redoDepth, undo, undoDepth } from "@codemirror/commands";
import { HighlightStyle, StreamLanguage, bracketMatching, syntaxHighlighting } from "@codemirror/language";
import { toml } from "@codemirror/legacy-modes/mode/toml";
import { setDiagnostics, lintKeymap, type Diagnostic } from "@codemirror/lint";
import { highlightSelectionMatches, searchKeymap } from "@codemirror/search";
import { EditorState, Transaction } from "@codemirror/state";
import { EditorView, drawSelection, highlightActiveLine, highlightActiveLineGutter, keymap, lineNumbers } from "@codemirror/view";
import { tags } from "@lezer/highlight";
import type { JsonSchema } from "../api.ts";
import type { Mistake } from "../documents.ts";
import type { Pen } from "../state.svelte.ts";
import { besides } from "../words.ts";
import { complete } from "./completion.ts";

const look = EditorView.theme({
  "&": { height: "100%", fontSize: "12.5px", color: "var(--ink)", backgroundColor: "var(--sheet)" },
  "&.cm-focused": { outline: "none" },
  ".cm-scroller": { fontFamily: 'ui-monospace, "DejaVu Sans Mono", "Liberation Mono", monospace', lineHeight: "1.5" },
  ".cm-content": { caretColor: "var(--ink)" },
  ".cm-cursor": { borderLeftColor: "var(--ink)" },
  ".cm-gutters": { backgroundColor: "var(--faint)", color: "var(--soft)", border: "none" },
  ".cm-activeLine": { backgroundColor: "color-mix(in srgb, var(--mark) 8%, transparent)" },
  ".cm-activeLineGutter": { backgroundColor: "var(--mark-soft)", color: "var(--ink)" },
  "&.cm-focused > .cm-scroller > .cm-selectionLayer .cm-selectionBackground, .cm-selectionBackground": {
    background: "color-mix(in srgb, var(--mark) 28%, transparent) !important",
  },
  ".cm-selectionMatch": { backgroundColor: "color-mix(in srgb, var(--sun) 22%, transparent)" },
  ".cm-matchingBracket": { backgroundColor: "var(--mark-soft) !important" },
  // The library's own waves are images in its style sheet, which the page's security policy does not let through.
  ".cm-lintRange-error": { backgroundImage: "none", textDecoration: "underline wavy var(--broken) 1.5px", textUnderlineOffset: "3px" },
  ".cm-lintRange-warning": { backgroundImage: "none", textDecoration: "underline dotted var(--marginal) 2px", textUnderlineOffset: "3px" },
  ".cm-lintRange-active": { backgroundColor: "color-mix(in srgb, var(--broken) 12%, transparent)" },
  ".cm-tooltip": { backgroundColor: "var(--raised)", color: "var(--ink)", border: "1px solid var(--rule)", borderRadius: "5px", maxWidth: "420px" },
  ".cm-tooltip-autocomplete ul li[aria-selected]": { backgroundColor: "var(--mark)", color: "var(--sheet)" },
  ".cm-completionDetail": { fontStyle: "normal", color: "inherit", opacity: "0.75", marginLeft: "10px" },
  ".cm-diagnostic": { borderLeftWidth: "3px", padding: "5px 9px", fontFamily: "system-ui, sans-serif", whiteSpace: "pre-wrap" },
  ".cm-diagnostic-error": { borderLeftColor: "var(--broken)" },
  ".cm-diagnostic-warning": { borderLeftColor: "var(--marginal)" },
  ".cm-panels": { backgroundColor: "var(--faint)", color: "var(--ink)", borderColor: "var(--rule)" },
  ".cm-textfield": { backgroundColor: "var(--raised)", border: "1px solid var(--rule)", borderRadius: "4px" },
  ".cm-button": { backgroundImage: "none", backgroundColor: "var(--raised)", border: "1px solid var(--rule)", borderRadius: "4px" },
});

const colours = HighlightStyle.define([
  { tag: tags.comment, color: "var(--soft)", fontStyle: "italic" },
  { tag: [tags.string, tags.special(tags.string)], color: "var(--text-value)" },
  { tag: [tags.number, tags.atom, tags.bool], color: "var(--word)" },
  { tag: [tags.propertyName, tags.variableName], color: "var(--ink)" },
  { tag: tags.bracket, color: "var(--mark)" },
  { tag: tags.heading, color: "var(--mark)", fontWeight: "650" },
]);

function offers(schema: () => JsonSchema | null, others: () => string): (context: CompletionContext) => CompletionResult | null {
  return (context) => {
    const root = schema();
    if (root === null) return null;
    const found = complete(root, context.state.doc.toString(), context.pos, others());
    if (found === null || found.words.length === 0) return null;
    if (!context.explicit && found.from === context.pos && found.kind !== "value") return null;
    return {
      from: found.from,
      options: found.words.map(({ word, about, insert }) => ({ label: word, apply: insert, detail: about.length > 60 ? `${about.slice(0, 58)} …` : about })),
      validFor: /^["\w.-]*$/,
    };
  };
}

/** What an editor is made for. */
export interface Task {
  /** What it begins with; of a state that was kept, it begins with that, with its history. */
  text: string;
  was?: EditorState | undefined;
  readOnly: boolean;
  /** What it is called aloud. */
  label: string;
  schema: () => JsonSchema | null;
  /** A text whose things may be named here, too. */
  others?: () => string;
  written: (text: string) => void;
}

export interface Editor extends Pen {
  tell(mistakes: readonly Mistake[]): void;
  /** The text, its history and where the cursor stands, for an editor to come. */
  state(): EditorState;
  destroy(): void;
}

export function editor(parent: ShadowRoot, { text, was, readOnly, label, schema, others = () => "", written }: Task): Editor {
  const view = new EditorView({
    parent,
    root: parent,
    state:
      was ??
      EditorState.create({
        doc: text,
        extensions: [
          lineNumbers(),
          highlightActiveLine(),
          highlightActiveLineGutter(),
          history(),
          drawSelection(),
          bracketMatching(),
          closeBrackets(),
          highlightSelectionMatches(),
          autocompletion({ override: [offers(schema, others)], icons: false }),
          StreamLanguage.define(toml),
          syntaxHighlighting(colours),
          look,
          EditorState.readOnly.of(readOnly),
          EditorView.contentAttributes.of({ "aria-label": `${label}. Escape, then Tab, leaves it.`, spellcheck: "false", tabindex: "0" }),
          keymap.of([...closeBracketsKeymap, ...defaultKeymap, ...searchKeymap, ...historyKeymap, ...completionKeymap, ...lintKeymap, { key: "Tab", run: insertTab, shift: indentLess }]),
          EditorView.updateListener.of((update) => {
            if (update.docChanged) written(update.state.doc.toString());
          }),
        ],
      }),
  });

  const replace = (from: number, to: number, insert: string, apart = true): void => {
    // Steps of one drag are undone together; all else by itself.
    const annotations = [Transaction.userEvent.of("input.type.page"), ...(apart ? [isolateHistory.of("full")] : [])];
    view.dispatch({ changes: { from, to, insert }, annotations, scrollIntoView: false });
  };
  const clamp = (at: number): number => Math.max(0, Math.min(view.state.doc.length, at));

  return {
    replace,
    replaceAll(next, apart = true) {
      // Only what differs is replaced, so that the place in the text and the undo history stay good.
      const now = view.state.doc.toString();
      if (now === next) return;
      let head = 0;
      while (head < now.length && head < next.length && now[head] === next[head]) head += 1;
      let tail = 0;
      while (tail < now.length - head && tail < next.length - head && now[now.length - 1 - tail] === next[next.length - 1 - tail]) tail += 1;
      replace(head, now.length - tail, next.slice(head, next.length - tail), apart);
    },
    show(from, to) {
      view.dispatch({ selection: { anchor: clamp(from), head: clamp(to) }, effects: EditorView.scrollIntoView(clamp(from), { y: "center" }) });
      view.focus();
    },
    undo: () => void undo(view),
    redo: () => void redo(view),
    depth: () => ({ undo: undoDepth(view.state), redo: redoDepth(view.state) }),
    tell(mistakes) {
      const found = mistakes.map((one): Diagnostic => {
        const from = clamp(one.from);
        const to = Math.max(from, clamp(one.to));
        return {
          from,
          // A mistake of no width still has to be seen.
          to: to > from ? to : clamp(from + 1),
          severity: one.severity === "warning" ? "warning" : "error",
          message: [one.message, besides(one)].filter((words) => words !== "").join("\n"),
        };
      });
      view.dispatch(setDiagnostics(view.state, found));
    },
    state: () => view.state,
    destroy: () => view.destroy(),
  };
}
