// The program, started and killed as often as a script likes.

import { spawn } from "node:child_process";

/** `floorwright serve` on a file of jobs, at a port or one of the next; again at the same one. */
export function served(program, log, firstPort, more = []) {
  let server = null;
  let port = firstPort;
  let all = "";
  return {
    /** What the program says on its terminal, once it has said it. */
    async said(what) {
      for (;;) {
        const found = what.exec(all);
        if (found) return found;
        await new Promise((resolve) => setTimeout(resolve, 20));
      }
    },
    base: () => `http://127.0.0.1:${port}`,
    pid: () => server.pid,
    async start() {
      server = spawn(program, ["serve", "--jobs", log, "--port", String(port), ...more], { stdio: ["ignore", "ignore", "pipe"] });
      port = await new Promise((resolve, reject) => {
        let said = "";
        server.stderr.on("data", (data) => {
          said += data;
          all += data;
          const found = /http:\/\/127\.0\.0\.1:(\d+)/.exec(said);
          if (found) resolve(Number(found[1]));
        });
        server.once("exit", (code) => reject(new Error(`the server ended with ${code}: ${said}`)));
      });
    },
    kill(signal = "SIGKILL") {
      const ended = new Promise((resolve) => server.once("exit", resolve));
      server.kill(signal);
      return ended;
    },
  };
}
