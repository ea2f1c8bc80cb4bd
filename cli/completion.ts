/**
 * `boardproof completion <shell>`: the script that teaches a shell to complete the words of boardproof. It asks
 * `boardproof complete` at every press of the key, so it need not be made again when the program changes.
 *
 * @module
 */
import { nearest } from '../src/board/nearest.js';
import { exitCode, problem } from '../src/problems.js';
import { SHELLS } from './completion-words.js';
import { nextStep } from './next-step.js';
import { print } from './terminal.js';
import type { Context } from './terminal.js';

type Shell = (typeof SHELLS)[number];

const BASH = String.raw`# Completion of boardproof for bash.
_boardproof() {
  local IFS=$'\n' current=$2 kind='' word=''
  local -a typed=("\${COMP_WORDS[@]:1:COMP_CWORD}")
  local -a plain=()
  # Words come as they were typed: without their quotes and backslashes they are what is meant.
  for word in "\${typed[@]}"; do
    word=\${word//\\ / }
    word=\${word//[\"\']/}
    plain+=("$word")
  done
  COMPREPLY=()
  {
    read -r kind
    while IFS=$'\t' read -r word _; do COMPREPLY+=("$word"); done
  } < <("$1" complete -- "\${plain[@]}" 2>/dev/null)
  case $kind in
    files) compopt -o default ;;
    folders) compopt -o dirnames ;;
    paths | names) COMPREPLY=($(printf '%q\n' "\${COMPREPLY[@]}")) ;;
    wavs)
      compopt -o filenames
      COMPREPLY=($(compgen -d -- "$current") $(compgen -f -X '!*.[wW][aA][vV]' -- "$current"))
      ;;
  esac
}
complete -F _boardproof boardproof`;

const ZSH = String.raw`#compdef boardproof
# Completion of boardproof for zsh.
_boardproof() {
  local -a lines entries
  local line
  lines=("\${(@f)$("\${words[1]}" complete -- "\${(@Q)words[2,CURRENT]}" 2>/dev/null)}")
  case $lines[1] in
    files) _files ;;
    folders) _files -/ ;;
    wavs) _files -g '*.(#i)wav' ;;
    paths | names) compadd -- "\${(@)lines[2,-1]}" ;;
    *)
      for line in "\${(@)lines[2,-1]}"; do
        # _describe wants word:meaning, a colon of the word behind a backslash.
        entries+=("\${\${line%%$'\t'*}//:/\\:}\${\${(M)line%$'\t'*}:+:\${line#*$'\t'}}")
      done
      _describe -t words word entries
      ;;
  esac
}
if [[ $funcstack[1] == _boardproof ]]; then _boardproof "$@"; else compdef _boardproof boardproof; fi`;

const FISH = String.raw`# Completion of boardproof for fish.
function __boardproof_complete
    set -l typed (commandline -opc)
    set -l current (commandline -ct | string unescape)
    set -l lines ($typed[1] complete -- $typed[2..-1] "$current" 2>/dev/null)
    switch "$lines[1]"
        case files
            __fish_complete_path "$current"
        case folders
            __fish_complete_directories "$current"
        case wavs
            for path in (__fish_complete_path "$current")
                string match -qri '(\.wav|/)(\t|$)' -- $path; and echo $path
            end
        case '*'
            test (count $lines) -gt 1; and printf '%s\n' $lines[2..-1]
    end
end
complete -c boardproof -f -k -a '(__boardproof_complete)'`;

const SCRIPTS: Readonly<Record<Shell, { readonly script: string; readonly now: string; readonly kept: string }>> = {
  bash: { script: BASH, now: 'source <(boardproof completion bash)', kept: 'boardproof completion bash > ~/.local/share/bash-completion/completions/boardproof' },
  zsh: { script: ZSH, now: 'source <(boardproof completion zsh)', kept: 'boardproof completion zsh > "${fpath[1]}/_boardproof"' },
  fish: { script: FISH, now: 'boardproof completion fish | source', kept: 'boardproof completion fish > ~/.config/fish/completions/boardproof.fish' },
};

export function run(context: Context, [shell]: readonly string[]): Promise<number> {
  if (!(SHELLS as readonly string[]).includes(shell!)) {
    const meant = nearest(shell!, SHELLS);
    throw problem('cli.usage', { said: `There is no completion for the shell "${shell!}"${meant === null ? '' : ` (did you mean ${meant}?)`}; there is for ${SHELLS.join(', ')}` });
  }
  const { script, now, kept } = SCRIPTS[shell as Shell];
  print(context, script.replaceAll('\\${', '${'));
  // Read by a person only: "source <(...)" has a terminal for its standard error.
  if (context.columns?.out) nextStep(context, `for this shell alone, or for every one from now on`, now, kept);
  return Promise.resolve(exitCode.done);
}
