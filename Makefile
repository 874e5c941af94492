.PHONY: demo page test bench soak fmt clean-fetched

# Builds, runs the main job on the example deployment, prints what it found and where the files are.
demo:
	bash scripts/demo.sh

# Builds the page of the desk into web/built; the next build of the program carries it.
page:
	bash scripts/page.sh

# Installs what the tests need and runs everything that CI runs.
test:
	bash scripts/test.sh

# Speed, beside general-purpose libraries doing the same work.
bench:
	bash scripts/bench.sh

# Slow checks: many cases, and the reference scripts run again.
soak:
	bash scripts/soak.sh

# Formats every crate.
fmt:
	cargo fmt --all

# Forgets the downloaded recordings.
clean-fetched:
	rm -rf fetched
