import type { Requirement, Verdict, Verdicts } from "../documents.ts";
import { worstFirst, worstOf } from "./scale.ts";

/** All that is judged: what the plan requires, the limits on the world that it polices, and what is always asked. */
export const judged = (verdicts: Verdicts): Requirement[] => [...verdicts.requirements, ...verdicts.watches, ...verdicts.standing];

/** Whether a subject names the thing of a typed path, or something of it. */
export const names = (subject: string, path: string): boolean => subject.split(" ").some((word) => word === path || word.startsWith(`${path}.`));

/** What is asked of one thing: the worst verdict that names it, and whether the requirement is worse for something else. */
export interface Asked {
  requirement: Requirement;
  verdict: Verdict | null;
  /** The verdict that makes the requirement worse than it is of this thing; null where there is none. */
  worse: Verdict | null;
}

/** Of the requirements with these ids, worst first, what each comes to for the thing. */
export function askedOf(all: readonly Requirement[], ids: readonly string[], path: string): Asked[] {
  return worstFirst(all.filter(({ id }) => ids.includes(id))).map((requirement) => {
    const own = requirement.verdicts.filter(({ subject }) => names(subject, path));
    const worst = worstOf(requirement);
    const verdict = own.length === 0 ? worst : worstOf({ ...requirement, verdicts: own });
    return { requirement, verdict, worse: worst !== null && verdict !== null && worst.ruling !== verdict.ruling ? worst : null };
  });
}
