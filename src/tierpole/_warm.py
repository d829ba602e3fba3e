"""What `./run` calls once at set-up, so that nobody waits for a compiler later."""

from tierpole.barn.warm import compile_kernel

if __name__ == "__main__":
    compile_kernel()
