// Runs driver.py in the MicroPython interpreter: node run.mjs INTERPRETER BOARD DRIVER; commands by standard input.
import { readFileSync } from "node:fs";
import { createInterface } from "node:readline";
import { pathToFileURL } from "node:url";

const [interpreter, board, driver] = process.argv.slice(2);
const { loadMicroPython } = await import(pathToFileURL(interpreter));
const python = await loadMicroPython({ heapsize: 512 * 1024, linebuffer: true, stdout: (line) => process.stderr.write(line + "\n") });
python.FS.writeFile("/probe_board.py", readFileSync(board, "utf8"));
python.FS.writeFile("/driver.py", readFileSync(driver, "utf8"));
python.runPython("import sys\nsys.path.insert(0, '/')\nfrom driver import Driver\ncommand = Driver().command");
const command = python.globals.get("command");
for await (const line of createInterface({ input: process.stdin })) {
    let answer;
    try {
        answer = command(line);
    } catch (error) {
        answer = "error " + JSON.stringify(String(error));
    }
    process.stdout.write(answer + "\n");
}
