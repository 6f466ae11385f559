import { expect, it } from "vitest";
import { told } from "./told";

it("What the command line calls an option is called on the page what it is called there.", () => {
  expect(told("Cut it open, or give the direction away from the board, for example --up 0,0,1.")).toBe(
    'Cut it open, or give the direction away from the board with "Up is toward me".',
  );
  expect(told("Give another direction with --up, or trim the rim back.")).not.toContain("--");
  expect(told("Say the unit with --unit.")).toBe("Say the unit in the sheet.");
  for (const dash of ["--", "–", "—"]) {
    expect(told(`If that is wrong, say the unit with ${dash}unit.`)).toBe("If that is wrong, say the unit in the sheet.");
    expect(told(`Shrink it with ${dash}scale.`)).toBe("Shrink it with the scale in the sheet.");
  }
  expect(told("It is 2–unitary.")).toBe("It is 2–unitary.");
  expect(told("Give a thinner --wall, or thicken the surface.")).toBe("Give a thinner wall in the sheet, or thicken the surface.");
});

it("Areas and volumes are told with their raised figures.", () => {
  expect(told("The wall is thin in 4 places, 0.066 cm2 of surface.")).toBe("The wall is thin in 4 places, 0.066 cm² of surface.");
  expect(told("It is called body_cm2.")).toBe("It is called body_cm2.");
});

it("Paint is called what the page calls it.", () => {
  expect(told("master.paint, number 2, copies 1.1 cm2 apart.")).toBe("Dab 2 copies 1.1 cm² apart.");
});
