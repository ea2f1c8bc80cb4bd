"""Runs a program on a pseudo-terminal of a given size and types into it, as a person would.

Reads one JSON document: {argv, env, cwd, columns, rows, timeoutS, keys: [{wait, send}]}; each key is sent once the
output since the key before it matches the pattern `wait`. Writes {exit, output} with everything the terminal received.
"""
import fcntl, json, os, pty, re, select, struct, sys, termios, time

job = json.load(sys.stdin)
pid, master = pty.fork()
if pid == 0:
    fcntl.ioctl(0, termios.TIOCSWINSZ, struct.pack("HHHH", job["rows"], job["columns"], 0, 0))
    os.chdir(job["cwd"])
    os.execvpe(job["argv"][0], job["argv"], job["env"])
fcntl.ioctl(master, termios.TIOCSWINSZ, struct.pack("HHHH", job["rows"], job["columns"], 0, 0))
output, since, keys = b"", b"", list(job["keys"])
ends = time.time() + job["timeoutS"]
while time.time() < ends:
    ready, _, _ = select.select([master], [], [], 0.2)
    if ready:
        try:
            data = os.read(master, 65536)
        except OSError:  # The last of the program's side is closed.
            break
        if not data:
            break
        output += data
        since += data
    if keys and not select.select([master], [], [], 0.15)[0] and re.search(keys[0]["wait"].replace("[^]", "(?:.|\\n)"), since.decode("utf-8", "replace")):
        os.write(master, keys.pop(0)["send"].encode())
        since = b""
else:
    os.kill(pid, 9)
_, status = os.waitpid(pid, 0)
json.dump({"exit": os.waitstatus_to_exitcode(status), "left": len(keys), "output": output.decode("utf-8", "replace")}, sys.stdout)
