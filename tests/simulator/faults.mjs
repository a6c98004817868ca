// What must hold and did not.

export class Violation extends Error {}
