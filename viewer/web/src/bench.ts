import { begin } from "./bench/main";

begin();
