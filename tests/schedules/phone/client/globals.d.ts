// What the server writes before the service worker.
declare const VERSION: string;
declare const FILES: Record<string, string>;
